"""Where bytes come from: UDP, TCP, serial ports and recordings, each coming back by itself."""
