"""Recalculates a spreadsheet in LibreOffice after one of its cells has changed; prints a line of seconds each time.

Run by the system's Python, which has LibreOffice's module `uno`:  recalculated.py FILE SHEET CELL ROUNDS
Each line has the seconds by the clock and by the processor, and the sum of the last column, as evidence.
"""

import contextlib
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path
from typing import Any

uno: Any = import_module("uno")  # of the system's LibreOffice, and not of this project
PIPE = "pugmill-spreadsheet"


def processor_seconds(pid: int) -> float:
    """What a process has used of the processor, in hundredths of a second."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / 100


def connected() -> Any:
    """The desktop of a running office; waits for it."""
    refused = uno.getClass("com.sun.star.connection.NoConnectException")
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    for _ in range(300):
        with contextlib.suppress(refused):
            context = resolver.resolve(f"uno:pipe,name={PIPE};urp;StarOffice.ComponentContext")
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        time.sleep(0.2)
    sys.exit("LibreOffice does not answer")


def office_pid(profile: str) -> int:
    """The process of the office itself, not of the script that starts it."""
    for found in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            words = found.read_bytes().split(b"\0")
            if words[0].endswith(b"soffice.bin") and any(profile.encode() in word for word in words):
                return int(found.parent.name)
    sys.exit("LibreOffice has no process")


def main() -> None:
    """Open the file, change the cell and recalculate, several times."""
    file, sheet, cell, rounds = sys.argv[1:]
    with tempfile.TemporaryDirectory() as profile:
        office = subprocess.Popen(
            ["soffice", "--headless", "--norestore", "--invisible", f"-env:UserInstallation=file://{profile}",
             f"--accept=pipe,name={PIPE};urp;"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            desktop, hidden = connected(), uno.createUnoStruct("com.sun.star.beans.PropertyValue")
            hidden.Name, hidden.Value = "Hidden", True
            document = desktop.loadComponentFromURL(Path(file).resolve().as_uri(), "_blank", 0, (hidden,))
            document.enableAutomaticCalculation(False)
            rates, pid = document.Sheets.getByName(sheet), office_pid(profile)
            for number in range(int(rounds)):
                rates.getCellRangeByName(cell).Value = 0.32 + number / 1000
                begun, used = time.perf_counter(), processor_seconds(pid)
                document.calculate()
                took = time.perf_counter() - begun
                total = rates.getCellRangeByName("A1").Value
                print(f"{took:.4f} {processor_seconds(pid) - used:.2f} {total:.2f}", flush=True)
            document.close(True)
            with contextlib.suppress(Exception):
                desktop.terminate()
        finally:
            office.terminate()
            office.wait(20)


if __name__ == "__main__":
    main()
