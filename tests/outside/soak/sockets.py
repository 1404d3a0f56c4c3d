"""HTTP and WebSockets by hand, for what no library would send."""

import asyncio
import base64
import json
import os
import socket
import struct


async def connect(port, receive=None):
    """A connection; with a small buffer for one that is not to be read."""
    raw = socket.socket()
    if receive:
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive)
    raw.setblocking(False)
    await asyncio.get_running_loop().sock_connect(raw, ("127.0.0.1", port))
    return await asyncio.open_connection(sock=raw, limit=receive or 1 << 22)


def request(method, params, number=1):
    return json.dumps({"jsonrpc": "2.0", "id": number, "method": method, "params": params}).encode()


def post(body, more=b"", length=None):
    """The bytes of a POST."""
    head = b"POST /rpc HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\nconnection: close\r\n"
    return head + b"content-length: %d\r\n" % (len(body) if length is None else length) + more + b"\r\n" + body


async def exchange(port, data, within, close_after=False):
    """What comes back for some bytes until the other side closes."""

    async def talk():
        reader, writer = await connect(port)
        try:
            writer.write(data)
            await writer.drain()
            if close_after:
                return b""
            return await reader.read(-1)
        except ConnectionError:
            return b""
        finally:
            writer.close()

    return await asyncio.wait_for(talk(), within)


async def call(port, method, params, within):
    """A call over HTTP: the JSON-RPC answer; raises OSError where there is none."""
    said = await exchange(port, post(request(method, params)), within)
    head, _, body = said.partition(b"\r\n\r\n")
    if not head:
        raise ConnectionResetError("closed without an answer")
    if b"transfer-encoding: chunked" in head.lower():
        body = unchunk(body)
    return json.loads(body)


def unchunk(body):
    whole = b""
    while body:
        size, _, body = body.partition(b"\r\n")
        size = int(size, 16)
        whole, body = whole + body[:size], body[size + 2 :]
        if size == 0:
            break
    return whole


def frame(payload, opcode=1, masked=True, final=True, reserved=0):
    """A WebSocket frame."""
    head = bytes([(0x80 if final else 0) | reserved << 4 | opcode])
    mark = 0x80 if masked else 0
    if len(payload) < 126:
        head += bytes([mark | len(payload)])
    elif len(payload) < 1 << 16:
        head += bytes([mark | 126]) + struct.pack(">H", len(payload))
    else:
        head += bytes([mark | 127]) + struct.pack(">Q", len(payload))
    if not masked:
        return head + payload
    mask = os.urandom(4)
    wide = mask * (len(payload) // 4 + 1)
    return head + mask + bytes(a ^ b for a, b in zip(payload, wide))


async def upgrade(port, receive=None):
    """A WebSocket, after its handshake."""
    reader, writer = await connect(port, receive)
    key = base64.b64encode(os.urandom(16))
    writer.write(
        b"GET /rpc HTTP/1.1\r\nhost: localhost\r\nupgrade: websocket\r\nconnection: upgrade\r\n"
        b"sec-websocket-version: 13\r\nsec-websocket-key: " + key + b"\r\n\r\n"
    )
    head = await reader.readuntil(b"\r\n\r\n")
    if b" 101 " not in head.split(b"\r\n")[0]:
        writer.close()
        raise ConnectionResetError(head.decode(errors="replace"))
    return reader, writer
