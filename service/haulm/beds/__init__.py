"""From weather and journal to the condition of each bed, day by day."""
