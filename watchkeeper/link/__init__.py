"""Bytes to frames to messages, and back. No input or output, no clock."""
