"""The board: the page of many stations, made of what their watches tell a broker."""
