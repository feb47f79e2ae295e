"""A line between phone and tool that can be cut: it passes bytes on, or swallows them without a word.

It is a process of its own: `python broken_line.py PORT` prints its own port, and obeys "cut" and "mend".
"""

from __future__ import annotations

import asyncio
import contextlib
import subprocess
import sys
import threading


class BrokenLine:
    """Listens on a port of its own and passes on to the tool's until it is cut; then nothing passes or closes."""

    def __init__(self, port: int) -> None:
        command = [sys.executable, __file__, str(port)]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout is not None
        self.port = int(self._process.stdout.readline())

    def cut(self) -> None:
        """Let nothing through any more: neither bytes nor the end of a connection."""
        self._order("cut")

    def mend(self) -> None:
        """Let new connections through; those that were cut stay dead."""
        self._order("mend")

    def _order(self, word: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(word + "\n")
        self._process.stdin.flush()

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.communicate()


class _Line:
    def __init__(self, theirs: int) -> None:
        self.theirs, self.open = theirs, True

    def obey(self) -> None:
        for word in sys.stdin:
            self.open = word.strip() == "mend"

    async def pass_on(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if not self.open:
            with contextlib.suppress(OSError):
                await reader.read()  # it is let in, and never hears a word
            return
        theirs, mine = await asyncio.open_connection("127.0.0.1", self.theirs)
        dead = [False]
        await asyncio.gather(self.one_way(reader, mine, dead), self.one_way(theirs, writer, dead))

    async def one_way(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, dead: list[bool]) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(65_536):
                dead[0] = dead[0] or not self.open
                if not dead[0]:
                    writer.write(data)
                    await writer.drain()
            if not dead[0]:
                writer.close()


async def _serve(port: int) -> None:
    line = _Line(port)
    threading.Thread(target=line.obey, daemon=True).start()
    server = await asyncio.start_server(line.pass_on, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(_serve(int(sys.argv[1])))
