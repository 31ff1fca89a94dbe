"""What a Modbus device sends: its bytes with their check, worked out here bit by bit."""


def with_crc(body):
    """CRC-16/MODBUS bit by bit, low byte first (MODBUS over Serial Line V1.02, 6.2.2)."""
    value = 0xFFFF
    for byte in body:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return body + value.to_bytes(2, "little")
