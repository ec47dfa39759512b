"""A mail server for the demonstration: takes every message on a free loopback port and files it in a Maildir.

  mailbox.py FOLDER PORT_FILE

Writes the port into PORT_FILE once it listens. Nothing leaves this machine.
"""
import mailbox
import pathlib
import signal
import sys

from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Mailbox


def main() -> int:
    folder, port_file = sys.argv[1], pathlib.Path(sys.argv[2])
    mailbox.Maildir(folder, create=True)
    controller = Controller(Mailbox(folder), hostname="127.0.0.1", port=0)
    controller.start()
    port = controller.server.sockets[0].getsockname()[1]
    part = port_file.with_suffix(".part")
    part.write_text(f"{port}\n")
    part.rename(port_file)
    signal.sigwait({signal.SIGINT, signal.SIGTERM})
    controller.stop()
    return 0


if __name__ == "__main__":
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    sys.exit(main())
