#!/usr/bin/python3
"""A real HTTP or HTTPS receiver (Python's http.server and ssl) for tests, on a free loopback port.

Prints "ready port=N", then one line "request {json}" for each request. The path chooses the answer: /status/N answers
with status N, /hang never answers, /endless streams without an end, /moved redirects; anything else gets 200.
"""

import argparse
import http.server
import json
import ssl
import threading


def say(line):
    print(line, flush=True)


class Receiver(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_POST(self):
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        say("request " + json.dumps({
            "method": self.command,
            "path": self.path,
            "headers": {name.lower(): value for name, value in self.headers.items()},
            "body": body.decode("utf-8"),
        }))
        if self.path == "/hang":
            threading.Event().wait(3600)
        if self.path == "/endless":
            self.send_response(200)
            self.end_headers()
            try:
                while True:
                    self.wfile.write(b"x" * 65536)
            except OSError:
                self.close_connection = True
                return
        status = int(self.path.rsplit("/", 1)[1]) if self.path.startswith("/status/") else 200
        if self.path == "/moved":
            status = 302
        answer = b"thank you\nand a second line\n" if status == 200 else b"answer for %d\n" % status
        self.send_response(status)
        if status == 302:
            self.send_header("Location", "/elsewhere")
        if status not in (204, 304):
            self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        if status not in (204, 304):
            self.wfile.write(answer)

    def log_message(self, *unused):
        pass


class Server(http.server.ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request, client_address):
        say("connection refused or broken")  # a client that does not trust us, or went away


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--certificate")
    parser.add_argument("--key")
    args = parser.parse_args()
    server = Server(("127.0.0.1", 0), Receiver)
    if args.certificate:
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(args.certificate, args.key)
        # The handshake belongs to the connection's own thread, so that one bad client does not hold up the rest.
        server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    say("ready port=%d" % server.server_address[1])
    server.serve_forever()


if __name__ == "__main__":
    main()
