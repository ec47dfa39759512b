#!/usr/bin/python3
"""A real SMTP server (Debian's python3-aiosmtpd) for tests, on a free loopback port.

Prints "ready port=N", then one line "mail {json}" for each letter it took: envelope, header fields as Python's own
e-mail parser reads them, the body's text, and the raw letter. Recipients choose what happens: full@ gets 452, nobody@
gets 550, spam@ is refused with 554 after the letter, busy@ with 451, hang@ gets no answer at all.
"""

import argparse
import asyncio
import email
import email.policy
import json
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult

ANSWERS = {"full": "452 4.2.2 mailbox full", "nobody": "550 5.1.1 no such mailbox"}
AFTER_DATA = {"spam": "554 5.7.1 refused after reading", "busy": "451 4.3.0 try again later"}


def say(line):
    print(line, flush=True)


class Handler:
    def __init__(self, require_auth):
        self.require_auth = require_auth

    async def handle_RCPT(self, server, session, envelope, address, options):
        local = address.split("@")[0]
        if local == "hang":
            await asyncio.sleep(3600)
        if local in ANSWERS:
            return ANSWERS[local]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        local = envelope.rcpt_tos[0].split("@")[0]
        if local in AFTER_DATA:
            return AFTER_DATA[local]
        letter = email.message_from_bytes(envelope.original_content, policy=email.policy.SMTP)
        say("mail " + json.dumps({
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "tls": session.ssl is not None,
            "user": session.auth_data.decode() if session.authenticated else None,
            "headers": {name.lower(): str(value) for name, value in letter.items()},
            "names": [name.lower() for name in letter.keys()],
            "defects": [str(d) for d in letter.defects] +
                       [str(d) for value in letter.values() for d in getattr(value, "defects", [])],
            "body": letter.get_content().replace("\r\n", "\n"),
            "raw": envelope.original_content.decode("latin-1"),
        }))
        return "250 2.0.0 taken as 4711"


class Silent(asyncio.Protocol):
    """Accepts and never says a word."""


class NoGoodbye(SMTP):
    """Takes the letter, but does not answer QUIT."""

    async def smtp_QUIT(self, arg):
        say("quit")
        await asyncio.sleep(3600)


def arguments():
    parser = argparse.ArgumentParser()
    parser.add_argument("--certificate")
    parser.add_argument("--key")
    parser.add_argument("--tls", choices=["none", "starttls", "from-start"], default="none")
    parser.add_argument("--user")
    parser.add_argument("--password")
    parser.add_argument("--silent", action="store_true")
    parser.add_argument("--no-goodbye", action="store_true")
    return parser.parse_args()


async def main():
    args = arguments()
    context = None
    if args.tls != "none":
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(args.certificate, args.key)

    def authenticate(server, session, envelope, mechanism, data):
        good = data.login == args.user.encode() and data.password == args.password.encode()
        if good:
            session.auth_data = data.login
        return AuthResult(success=good, handled=good, auth_data=data.login if good else None)

    def protocol():
        if args.silent:
            return Silent()
        kind = NoGoodbye if args.no_goodbye else SMTP
        options = {}
        if args.user:
            options = {"authenticator": authenticate, "auth_required": True,
                       "auth_require_tls": args.tls == "starttls"}
        if args.tls == "starttls":
            options.update(tls_context=context, require_starttls=True)
        return kind(Handler(args.user), hostname="peer.example", enable_SMTPUTF8=True, loop=loop, **options)

    loop = asyncio.get_running_loop()
    server = await loop.create_server(protocol, "127.0.0.1", 0, ssl=context if args.tls == "from-start" else None)
    say("ready port=%d" % server.sockets[0].getsockname()[1])
    await server.serve_forever()


if __name__ == "__main__":
    try:
        asyncio.run(main())
    except KeyboardInterrupt:
        sys.exit(0)
