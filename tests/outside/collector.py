"""A collector of traces built of OpenTelemetry's own protocol definitions (`opentelemetry-proto`): whatever comes is
parsed as an ExportTraceServiceRequest by protobuf's JSON mapping, strictly, and held against what OTLP/HTTP and the
comments of trace.proto ask for besides.

Says its port in the first line, and then of each request what it made of it, a JSON object a line.

OTLP's JSON differs from protobuf's own mapping in two ways (OTLP specification, "JSON Protobuf Encoding"): ids are
hexadecimal rather than base64, and enumerations are numbers, never names.
"""
import base64
import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from google.protobuf import json_format
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import (
    ExportTraceServiceRequest,
    ExportTraceServiceResponse,
)
from opentelemetry.proto.trace.v1.trace_pb2 import Span, Status

speaking = threading.Lock()


def say(what):
    with speaking:
        print(json.dumps(what), flush=True)


def as_protobuf_has_it(span):
    """Ids as protobuf's mapping writes them; what OTLP forbids there is an error."""
    for name, length in (("traceId", 16), ("spanId", 8)):
        raw = bytes.fromhex(span[name])
        assert len(raw) == length and any(raw), f"{name}: {span[name]}"
        span[name] = base64.b64encode(raw).decode()
    assert "parentSpanId" not in span, "a span of ours has no parent"
    for number in (span["kind"], span["status"]["code"]):
        assert type(number) is int, f"an enumeration is a number: {number!r}"
    for name in ("startTimeUnixNano", "endTimeUnixNano"):
        assert isinstance(span[name], str), f"{name}: 64 bits are a text: {span[name]!r}"


def texts(attributes):
    keys = [one.key for one in attributes]
    assert len(keys) == len(set(keys)), f"a key is there twice: {keys}"
    assert all(one.value.WhichOneof("value") == "string_value" for one in attributes)
    return {one.key: one.value.string_value for one in attributes}


def read(body):
    document = json.loads(body)
    for resource in document["resourceSpans"]:
        for scope in resource["scopeSpans"]:
            for span in scope["spans"]:
                as_protobuf_has_it(span)
    request = json_format.ParseDict(document, ExportTraceServiceRequest(), ignore_unknown_fields=False)
    told = []
    for resource in request.resource_spans:
        about = texts(resource.resource.attributes)
        for scope in resource.scope_spans:
            for span in scope.spans:
                assert span.name, "a span has a name"
                assert 0 < span.start_time_unix_nano <= span.end_time_unix_nano, "it ends before it begins"
                told.append({
                    "service": about["service.name"],
                    "name": span.name,
                    "kind": Span.SpanKind.Name(span.kind),
                    "status": Status.StatusCode.Name(span.status.code),
                    "message": span.status.message,
                    "trace": span.trace_id.hex(),
                    "attributes": texts(span.attributes),
                })
    return told


class Collector(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        try:
            assert self.path == "/v1/traces", self.path
            assert self.headers["content-type"] == "application/json", self.headers["content-type"]
            said = {"ok": True, "spans": read(body)}
        except Exception as error:  # whatever it is, the test shall see it
            said = {"ok": False, "why": f"{type(error).__name__}: {error}", "body": body.decode(errors="replace")[:500]}
        say(said)
        answer = json_format.MessageToJson(ExportTraceServiceResponse()).encode()
        self.send_response(200 if said["ok"] else 400)
        self.send_header("content-type", "application/json")
        self.send_header("content-length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


server = ThreadingHTTPServer(("127.0.0.1", 0), Collector)
say({"port": server.server_port})
server.serve_forever()
