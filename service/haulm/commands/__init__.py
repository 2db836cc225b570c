"""The words of each command: its options, and the job that it calls. Jobs are imported when they are called."""
