"""The science: arrays in, arrays out. No files, no clock, no logging, nothing changed in place."""
