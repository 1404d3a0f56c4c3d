"""RFC 6455 frame by frame against /rpc, by a client that knows nothing of ours.

Autobahn's suite itself needs Python 2.7: its newest release on PyPI (25.10.1) installs under Python 3 and cannot be
imported there. Release 0.8.2, whose cases these are by number where one is given, was run by hand against /rpc, with
an answer taken for the echo that it expects: of 247 cases beside those of 9 and 12 to 13, 236 OK, 3 informational,
8 "non-strict" (3.2, 3.3, 4.1.3 to 4.1.5, 4.2.3, 4.2.4, 5.15), none failed. Non-strict are those in which a good
message goes before a broken frame: the connection is closed at once, and the call that ran is not waited for. The
cases of 9 measure the speed of an echo, those of 12 and 13 a compression that is not offered.
"""

import base64
import os
import socket
import struct
import sys

address, token = sys.argv[1], sys.argv[2]
host, port = address.rsplit(":", 1)
TEXT, BINARY, CLOSE, PING, PONG, LAST = 0x1, 0x2, 0x8, 0x9, 0xA, 0x80
CALL = b'{"jsonrpc":"2.0","id":7,"method":"bay.list"}'


def frame(first, payload=b"", masked=True, length=None):
    size = len(payload) if length is None else length
    bit = 0x80 if masked else 0
    if size < 126:
        head = struct.pack("!BB", first, bit | size)
    elif size < 65536:
        head = struct.pack("!BBH", first, bit | 126, size)
    else:
        head = struct.pack("!BBQ", first, bit | 127, size)
    if not masked:
        return head + payload
    mask = os.urandom(4)
    return head + mask + bytes(byte ^ mask[place % 4] for place, byte in enumerate(payload))


def pieces(payload, size, between=b""):
    """A text in fragments, with something between them."""
    parts = [payload[at:at + size] for at in range(0, len(payload), size)]
    opcodes = [TEXT] + [0] * (len(parts) - 1)
    opcodes[-1] |= LAST
    return between.join(frame(opcode, part) for opcode, part in zip(opcodes, parts))


class Client:
    def __init__(self):
        self.socket = socket.create_connection((host, int(port)), timeout=10)
        key = base64.b64encode(os.urandom(16)).decode()
        self.socket.sendall((f"GET /rpc HTTP/1.1\r\nHost: {address}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
                             f"Authorization: Bearer {token}\r\nSec-WebSocket-Version: 13\r\n"
                             f"Sec-WebSocket-Key: {key}\r\n\r\n").encode())
        head = b""
        while not head.endswith(b"\r\n\r\n"):
            head += self.take(1)
        assert head.startswith(b"HTTP/1.1 101 "), head

    def take(self, count):
        data = b""
        while len(data) < count:
            more = self.socket.recv(count - len(data))
            if not more:
                raise EOFError
            data += more
        return data

    def next(self):
        """The opcode and payload of the next frame; None at the end of the connection."""
        try:
            first, size = self.take(2)
        except (EOFError, ConnectionResetError):
            return None
        assert first & 0xF0 == LAST and size < 128, "a server sends whole messages, without a mask"
        if size >= 126:
            size = int.from_bytes(self.take(2 if size == 126 else 8), "big")
        return first & 0x0F, self.take(size)

    def all(self):
        return list(iter(self.next, None))


def said(sent, slowly=False):
    """Everything that comes for some bytes, with a close behind them; in one piece, or a byte at a time."""
    client = Client()
    try:
        for part in ([sent[at:at + 1] for at in range(len(sent))] if slowly else [sent]):
            client.socket.sendall(part)
        client.socket.sendall(frame(LAST | CLOSE, struct.pack("!H", 1000)))
    except (BrokenPipeError, ConnectionResetError):
        pass
    return client.all()


def closed(code):
    return [(CLOSE, b"" if code is None else struct.pack("!H", code))]


count = 0


def check(what, sent, expected, slowly=False):
    global count
    count += 1
    found = said(sent, slowly)
    assert found == expected, f"{what}: {found[:4]} instead of {expected}"


def answered(what, sent, pongs=()):
    """A call that goes before a close is answered or dropped with it; what is between its fragments is answered."""
    global count
    count += 1
    client = Client()
    client.socket.sendall(sent)
    left = [(PONG, payload) for payload in pongs]
    while True:
        found = client.next()
        assert found, f"{what}: the connection ended"
        if found[0] == TEXT:
            assert b'"id":7' in found[1], f"{what}: {found}"
            break
        left.remove(found)
    while left:
        left.remove(client.next())


# 1, 5: texts, whole and in fragments.
answered("a text", frame(LAST | TEXT, CALL))
answered("JSON in a binary message", frame(LAST | BINARY, CALL))
for size in (1, 2, 7, len(CALL)):
    answered(f"fragments of {size}", pieces(CALL, size))
answered("5.8 a ping between fragments", pieces(CALL, 20, frame(LAST | PING, b"x")), [b"x", b"x"])
answered("an empty fragment", frame(TEXT) + frame(0, CALL) + frame(LAST))
for what, sent in {
    "5.9 a continuation of nothing": frame(LAST, b"x"),
    "5.11 an open continuation of nothing": frame(0, b"x"),
    "5.18 a text within a text": frame(TEXT, b"x") + frame(LAST | TEXT, b"x"),
    "5.1 a ping in fragments": frame(PING, b"x") + frame(LAST, b"x"),
}.items():
    check(what, sent, closed(1002))
    check(what + ", a byte at a time", sent, closed(1002), slowly=True)

# 2: pings and pongs.
for payload in (b"", b"x", bytes(range(125)), b"\xfe" * 125):
    check(f"2 a ping of {len(payload)}", frame(LAST | PING, payload), [(PONG, payload)] + closed(1000))
check("2.5 a ping of 126", frame(LAST | PING, b"x" * 126), closed(1002))
check("2.7 pongs nobody asked for", frame(LAST | PONG, b"x") * 3, closed(1000))
pings = [b"%d" % number for number in range(10)]
check("2.10 ten pings", b"".join(frame(LAST | PING, p) for p in pings), [(PONG, p) for p in pings] + closed(1000))

# 3, 4: reserved bits and opcodes.
for bits in range(1, 8):
    for opcode in (TEXT, PING, CLOSE):
        check(f"3 reserved bits {bits} of {opcode}", frame(LAST | bits << 4 | opcode, b""), closed(1002))
for opcode in (3, 4, 5, 6, 7, 11, 12, 13, 14, 15):
    check(f"4 opcode {opcode}", frame(LAST | opcode, b""), closed(1002))

# 5.1 of the RFC: masks.
for opcode in (TEXT, BINARY, PING, PONG, CLOSE):
    check(f"no mask on {opcode}", frame(LAST | opcode, b"", masked=False), closed(1002))

# 6: UTF-8, whole, split, cut short, wrong.
character = '{"jsonrpc":"2.0","id":7,"method":"κόσμε€𝄞"}'.encode()
for size in (1, 2, 3, 5):
    answered(f"6.2 characters split by {size}", pieces(character, size))
for what, wrong in {
    "6.3 a surrogate": b"\xce\xba\xed\xa0\x80edited",
    "6.6 cut short": b"\xce\xba\xe1\xbd",
    "6.14 a lone continuation": b"\x80",
    "6.21 overlong": b"\xc0\xaf",
    "6.23 beyond Unicode": b"\xf4\x90\x80\x80",
    "6.12 impossible": b"\xfe",
}.items():
    check(what, frame(LAST | TEXT, wrong), closed(1007))
    check(what + ", split", pieces(wrong, 1), closed(1007))
client = Client()
client.socket.sendall(frame(TEXT, b"\xf4") + frame(0, b"\x90"))
assert client.all() == closed(1007), "6.4 wrong UTF-8 is told before the message ends"

# 7: closing.
check("7.1 what comes after a close", frame(LAST | CLOSE) + frame(LAST | PING), closed(None))
check("7.3.1 without a code", frame(LAST | CLOSE), closed(None))
check("7.3.2 half a code", frame(LAST | CLOSE, b"\x03"), closed(1002))
check("7.3.5 a reason of 123", frame(LAST | CLOSE, b"\x03\xe8" + b"x" * 123), closed(1000))
check("7.3.6 a reason of 124", frame(LAST | CLOSE, b"\x03\xe8" + b"x" * 124), closed(1002))
check("7.5 a reason that is no UTF-8", frame(LAST | CLOSE, b"\x03\xe8\xce\xba\xed\xa0\x80"), closed(1007))
for code in (1000, 1001, 1002, 1003, 1007, 1008, 1009, 1010, 1011, 1012, 1013, 1014, 3000, 3999, 4000, 4999):
    check(f"7.7 code {code}", frame(LAST | CLOSE, struct.pack("!H", code)), closed(code))
for code in (0, 999, 1004, 1005, 1006, 1015, 1016, 1100, 2000, 2999, 5000, 65535):
    check(f"7.9 code {code}", frame(LAST | CLOSE, struct.pack("!H", code)), closed(1002))

# 9: what is too long is refused, in one piece or many, and what follows is answered.
long = b" " * (4 * 1024 * 1024 + 1)
for what, sent in {"whole": frame(LAST | TEXT, long), "in fragments": pieces(long, 65536)}.items():
    client = Client()
    client.socket.sendall(sent + frame(LAST | TEXT, CALL))
    replies = [client.next()[1], client.next()[1]]
    assert any(b'"too-large"' in reply for reply in replies), f"9 {what}: {replies}"
    assert any(b'"id":7,"result"' in reply for reply in replies), f"9 {what}: {replies}"
    count += 1
check("9 a length nobody reads", frame(LAST | TEXT, b"", length=1 << 62), closed(1009))
print(f"frames: {count} cases of RFC 6455 against /rpc")
