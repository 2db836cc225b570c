"""The files of a folder of many gardens, by name."""

COMMON, PLACES, GROWERS, BEDS = "common.toml", "places.csv", "growers.csv", "beds.csv"
