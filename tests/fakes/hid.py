"""Stands where hidapi's module `hid` would: one device, whose reports come from the file FAKE_HID_REPORTS names.

The interface is hidapi 0.15's: `device().open(vendor, product, serial)`, `read(size, timeout_ms)` answers
a list of whole numbers, `write(data)` the number of bytes, errors are OSError.
"""

import os
import select

REPORT = 8


class device:  # noqa: N801  (hidapi spells it so)
    def open(self, vendor, product, serial=None):
        if (vendor, product, serial) != (0x1234, 0xABCD, None):
            raise OSError("open failed")
        self._fd = os.open(os.environ["FAKE_HID_REPORTS"], os.O_RDWR | os.O_NOCTTY)

    def read(self, size, timeout_ms=0):
        if not select.select([self._fd], [], [], timeout_ms / 1000)[0]:
            return []
        report = os.read(self._fd, min(size, REPORT))
        if not report:
            raise OSError("read error")
        return list(report)

    def write(self, data):
        return os.write(self._fd, bytes(data))

    def close(self):
        os.close(self._fd)
