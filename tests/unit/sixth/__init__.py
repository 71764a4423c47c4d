"""An invented protocol, LIFT 6: a counter, the station, data and a 16-bit CRC. For tests only."""
