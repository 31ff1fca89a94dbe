"""A Modbus RTU server of the pymodbus package on a serial port: `python modbus_server.py PORT`.

Registers as profiles/instruments/modbus-rtu.yaml maps them, packed here by struct: 21.53 degC as a
float, high word first; 45.2 percent as a float, low word first; -52 tenths of a degree.
"""

import asyncio
import struct
import sys

from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice


def words(value: float) -> list[int]:
    return list(struct.unpack(">HH", struct.pack(">f", value)))


async def serve(port: str) -> None:
    registers = [
        SimData(0, values=[*words(21.53), *reversed(words(45.2))], datatype=DataType.REGISTERS),
        SimData(16, values=[-52 & 0xFFFF], datatype=DataType.REGISTERS),
    ]
    await ModbusSerialServer(SimDevice(1, registers), port=port, baudrate=9600).serve_forever()


if __name__ == "__main__":
    asyncio.run(serve(sys.argv[1]))
