"""A WebSocket client that is not ours: the token in a header, and among the subprotocols as a browser has it."""

import json
import sys

from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

url, token = sys.argv[1], sys.argv[2]
told = []


def ask(socket, method, params):
    socket.send(json.dumps({"jsonrpc": "2.0", "id": 7, "method": method, "params": params}))
    while True:
        answer = json.loads(socket.recv(timeout=10))
        if answer.get("id") == 7:
            return answer
        told.append(answer["params"]["subscription"])


try:
    connect(url)
    raise AssertionError("let in without a token")
except InvalidStatus as refused:
    assert refused.response.status_code == 401, refused
    assert json.loads(refused.response.body)["error"]["data"]["kind"] == "token-missing"
with connect(url, additional_headers={"Authorization": f"Bearer {token}"}) as socket:
    assert ask(socket, "service.about", {})["result"]["name"] == "trisectd"
with connect(url, subprotocols=["trisect.v1", f"trisect.token.{token}"]) as socket:
    assert socket.subprotocol == "trisect.v1", socket.subprotocol
    watching = ask(socket, "verdict.watch", {"bay": "bay-1"})["result"]
    job = ask(socket, "job.open", {"bay": "bay-1", "machine": "Unit 14"})["result"]["job"]
    for number in range(50):
        reading = {"point": "battery", "value": 12.5, "unit": "V"}
        assert "result" in ask(socket, "reading.submit", {"bay": "bay-1", "readings": [reading], "key": f"k{number}"})
    assert watching in told, "the subscription said nothing"
    assert ask(socket, "job.verify", {"job": job})["result"]["sound"]
print("websocket: the websockets library is let in by header and by subprotocol")
