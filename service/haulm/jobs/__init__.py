"""The order of one run: what is read, decided, written, sent and recorded."""
