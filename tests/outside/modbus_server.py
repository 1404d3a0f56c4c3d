"""Serves numbers of every type in every order with pymodbus (PyPI), and says on standard output, in one line
of JSON, where it serves and what it holds. Ends when its standard input does.

usage: modbus_server.py tcp | rtu PORT
"""

import asyncio
import json
import sys

from pymodbus import FramerType
from pymodbus.client.mixin import ModbusClientMixin as Mixin
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

Type = Mixin.DATATYPE
TYPES = {
    "u16": (Type.UINT16, 54321, 7),
    "i16": (Type.INT16, -12345, -1),
    "u32": (Type.UINT32, 3_000_000_000, 65_536),
    "i32": (Type.INT32, -1_234_567_890, -2),
    "f32": (Type.FLOAT32, 123.456, -0.5),
    "f64": (Type.FLOAT64, -0.000123456789, 6894.757293168),
}
# By our names: the order of words as pymodbus has it, and whether each register's bytes are swapped then.
ORDERS = {
    "big": ("big", False),
    "swapped-words": ("little", False),
    "swapped-bytes": ("big", True),
    "little": ("little", True),
}


def registers(number, kind, order):
    words, swapped = ORDERS[order]
    found = Mixin.convert_to_registers(number, kind, word_order=words)
    return [(r & 0xFF) << 8 | r >> 8 for r in found] if swapped else found


def device(number, sign):
    """A device whose two tables differ, and the inputs that it has."""
    inputs, tables = [], {"holding": [], "input": []}
    for place, table in enumerate(tables):
        for name, (kind, *values) in TYPES.items():
            for order in ORDERS:
                value = values[place] * (sign if name in ("i16", "i32", "f32", "f64") else 1)
                inputs.append(
                    {
                        "device": number,
                        "table": table,
                        "register": len(tables[table]),
                        "type": name,
                        "order": order,
                        "value": value,
                    }
                )
                tables[table] += registers(value, kind, order)
    bits = [SimData(0, values=[True] * 16, datatype=DataType.BITS)]
    words = [SimData(0, values=found, datatype=DataType.REGISTERS) for found in tables.values()]
    return SimDevice(number, simdata=(bits, bits, [words[0]], [words[1]])), inputs


async def main():
    (first, inputs), (second, more) = device(1, 1), device(2, -1)
    said = {"inputs": inputs + more}
    if sys.argv[1] == "tcp":
        server = ModbusTcpServer([first, second], address=("127.0.0.1", 0))
        await server.serve_forever(background=True)
        said["address"] = "127.0.0.1:%d" % server.transport.sockets[0].getsockname()[1]
    else:
        server = ModbusSerialServer([first, second], framer=FramerType.RTU, port=sys.argv[2], baudrate=115200)
        await server.serve_forever(background=True)
    print(json.dumps(said), flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await server.shutdown()


asyncio.run(main())
