"""CRC-16/IBM-3740, the check on every line (SPEC 2.6)."""

from __future__ import annotations

from binascii import crc_hqx

INITIAL = 0xFFFF


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 of `data`: polynomial 0x1021, initial 0xFFFF, not reflected, no final XOR.

    Check value 0x29B1 for b"123456789" (catalogue of parametrised CRC algorithms, CRC-16/IBM-3740).
    """
    return crc_hqx(data, INITIAL)
