"""The recorder: keeps everything that happened, and finds it again."""
