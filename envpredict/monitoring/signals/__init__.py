"""Raw traces of vibration: read, filtered by standard weightings, and measured: peaks, frequencies, KB, dose."""
