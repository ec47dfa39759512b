"""A mail server for the demonstration: takes every message on a free loopback port and files it in a Maildir.

  mail_peer.py FOLDER PORT_FILE

Writes the port into PORT_FILE once it listens; ends on SIGINT or SIGTERM. Nothing leaves this machine.
"""
import asyncio
import mailbox
import pathlib
import signal
import sys

from aiosmtpd.handlers import Mailbox
from aiosmtpd.smtp import SMTP


async def serve(folder: str, port_file: pathlib.Path) -> None:
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, ended.set)
    mailbox.Maildir(folder, create=True)
    handler = Mailbox(folder)
    server = await loop.create_server(lambda: SMTP(handler, enable_SMTPUTF8=True), host="127.0.0.1", port=0)
    part = port_file.with_suffix(".part")
    part.write_text(f"{server.sockets[0].getsockname()[1]}\n")
    part.rename(port_file)
    await ended.wait()
    server.close()


if __name__ == "__main__":
    asyncio.run(serve(sys.argv[1], pathlib.Path(sys.argv[2])))
