"""The web programs: the clinic's desk on loopback, and the public pages behind the QR code."""
