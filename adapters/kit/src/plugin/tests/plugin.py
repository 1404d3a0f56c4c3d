"""A plugin for the tests of the host: it behaves as its first argument says."""
import json, os, select, signal, sys, time

mode = sys.argv[1]
CHANNELS = [{"channel": 0, "title": "pressure", "function": "pressure"}]
SCHEMA = {"type": "object", "properties": {"rate": {"type": "number", "minimum": 1}}, "additionalProperties": False}


def write(message):
    sys.stdout.write(json.dumps({"jsonrpc": "2.0", **message}) + "\n")
    sys.stdout.flush()


def sample(value, channel=0, **more):
    return {"channel": channel, "function": "pressure", "value": value, "unit": "psi", **more}


def samples(*values):
    write({"method": "samples", "params": {"samples": [sample(value) for value in values]}})


def answer(message):
    if message["method"] == "describe":
        result = {"contract": 1, "name": "tester", "version": "1", "channels": CHANNELS, "settings": SCHEMA}
        write({"id": message["id"], "result": result})
    elif message["method"] == "start":
        write({"id": message["id"], "result": None})
        return "start"
    elif message["method"] == "stop":
        if mode != "deaf":
            write({"id": message["id"], "result": None})
            sys.exit(0)
    else:
        write({"id": message["id"], "error": {"code": -32601, "message": "no"}})


asked = b""


def heard(wait):
    """Answers a line, if there is one: of several that came together one at a time."""
    global asked
    if b"\n" not in asked:
        ready, _, _ = select.select([0], [], [], wait)
        if not ready:
            return None
        more = os.read(0, 65536)
        if not more:
            if mode == "deaf":
                time.sleep(60)
            sys.exit(0)
        asked += more
    line, _, asked = asked.partition(b"\n")
    try:
        return answer(json.loads(line))
    except (ValueError, KeyError):
        return None


if mode == "deaf":
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
if mode == "mute":
    time.sleep(60)
print(f"mode {mode}", file=sys.stderr, flush=True)
while heard(1) != "start":
    pass

turn = 0
while True:
    turn += 1
    if mode == "flood":
        sys.stdout.buffer.write(b"x" * 3_000_000 + b"\n" + os.urandom(4096) + b"\n")
        sys.stdout.buffer.flush()
    if mode == "binary":
        sys.stdout.buffer.write(bytes(range(256)) * 4 + b"\n")
        sys.stdout.buffer.flush()
    if mode == "hang" and turn == 3:
        time.sleep(60)
    if mode == "dies" and turn == 3:
        os._exit(3)
    if mode == "cut" and turn == 3:
        os.write(1, b'{"jsonrpc":"2.0","meth')
        os._exit(0)
    if mode == "forks" and turn == 3:
        child = os.fork()
        if child == 0:
            time.sleep(60)
        with open(os.environ["CHILD"], "w") as note:
            note.write(str(child))
        os._exit(0)
    if mode == "bomb" and turn == 3:
        for _ in range(8):
            if os.fork() == 0:
                time.sleep(60)
        time.sleep(60)
    if mode == "other":
        write({"method": "samples", "params": {"samples": [sample(99, 7), sample(3)]}})
        write({"method": "samples", "params": {"samples": [{**sample(1), "function": "voltage", "unit": "V"}]}})
    if mode == "eats" and turn == 3:
        hold = bytearray(1 << 30)
    if mode == "spins" and turn == 3:
        while True:
            pass
    if mode == "asks":
        write({"id": "mine", "method": "instrument.attach", "params": {}})
    if mode == "numbered":
        for number in range(int(sys.argv[2])):
            samples(number)
        mode = "good"
    samples(turn)
    heard(0.01)
