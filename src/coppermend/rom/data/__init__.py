"""Tables that the ROM room reads: devices and delays."""
