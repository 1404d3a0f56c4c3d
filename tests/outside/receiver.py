"""A receiver of webhooks built of reference libraries: `standardwebhooks` verifies what came, `cloudevents` parses it.

Says its port in the first line, and then of each message what it made of it, a JSON object a line.

usage: receiver.py SECRET
"""
import json
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from cloudevents.http import from_http
from standardwebhooks.webhooks import Webhook

webhook = Webhook(sys.argv[1])
# Two messages come at a time, and `print` writes a line and its end one after the other.
speaking = threading.Lock()


def say(what):
    with speaking:
        print(json.dumps(what), flush=True)


class Receiver(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        headers = {name.lower(): value for name, value in self.headers.items()}
        try:
            webhook.verify(body.decode(), headers)
            event = from_http(headers, body)
            assert event["id"] == headers["webhook-id"], "two ids"
            said = {"ok": True, "type": event["type"], "subject": event["subject"], "data": event.data}
        except Exception as error:  # whatever it is, the test shall see it
            said = {"ok": False, "why": f"{type(error).__name__}: {error}", "body": body.decode(errors="replace")[:300]}
        say(said)
        self.send_response(200 if said["ok"] else 400)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_):
        pass


server = ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
say({"port": server.server_port})
server.serve_forever()
