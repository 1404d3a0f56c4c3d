"""Reads floats from a Modbus RTU device with minimalmodbus (PyPI): both tables, and an address it has not.
One line of JSON on standard output.

usage: modbus_reader.py PORT DEVICE ORDER COUNT      ORDER: big, swapped-words, swapped-bytes or little
"""

import json
import sys

import minimalmodbus

port, device, order, count = sys.argv[1], int(sys.argv[2]), sys.argv[3], int(sys.argv[4])
orders = {
    "big": minimalmodbus.BYTEORDER_BIG,
    "little": minimalmodbus.BYTEORDER_LITTLE,
    "swapped-words": minimalmodbus.BYTEORDER_LITTLE_SWAP,
    "swapped-bytes": minimalmodbus.BYTEORDER_BIG_SWAP,
}
instrument = minimalmodbus.Instrument(port, device)
instrument.serial.baudrate = 19200
# A pseudo-terminal has no parity, and pyserial refuses to ask for one.
instrument.serial.timeout = 2.0
floats = {
    function: [instrument.read_float(2 * n, functioncode=function, byteorder=orders[order]) for n in range(count)]
    for function in (3, 4)
}
try:
    instrument.read_float(2 * count, functioncode=4)
    refused = None
except minimalmodbus.ModbusException as error:
    refused = type(error).__name__
print(json.dumps({"floats": floats, "refused": refused}))
