"""Makes trisect/types.py and trisect/methods.py from the service's OpenRPC document.

usage: python generate.py [--check]     --check: only say whether they are what the document says
"""
import json
import keyword
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
DOCUMENT = HERE.parent.parent / "service/wire/openrpc.json"
PLAIN = {"string": "str", "integer": "int", "number": "float", "boolean": "bool", "null": "None"}
HEAD = '"""{what}\n\nMade from the service\'s OpenRPC document by generate.py: do not edit.\n"""\n'


def camel(text):
    return "".join(part[:1].upper() + part[1:] for part in text.replace("-", "_").replace(".", "_").split("_"))


class Types:
    """The schemas as Python types; nested objects become types of their own."""

    def __init__(self, schemas):
        self.lines, self.schemas, self.told = [], schemas, {}
        for name, schema in schemas.items():
            self.declare(name, schema)

    def declare(self, name, schema):
        self.doc(schema)
        if "properties" in schema and "oneOf" not in schema:
            self.typed_dict(name, schema)
        else:
            self.lines += [f"{name}: TypeAlias = {self.quoted(self.of(schema, name))}", ""]

    def doc(self, schema):
        text = schema.get("description", "").strip()
        self.lines += [f"# {line}".rstrip() for line in text.splitlines()]

    def typed_dict(self, name, schema):
        bases = [self.of(part, name) for part in schema.get("allOf", [])]
        required, fields = set(schema.get("required", [])), {}
        for field, inner in schema["properties"].items():
            said = self.of(inner, name + camel(field))
            fields[field] = said if field in required else f"NotRequired[{said}]"
        if any(keyword.iskeyword(field) or not field.isidentifier() for field in fields):
            body = ", ".join(f"{field!r}: {self.quoted(said)}" for field, said in fields.items())
            self.lines += [f"{name} = TypedDict({name!r}, {{{body}}})", ""]
            return
        self.lines.append(f"class {name}({', '.join(bases) or 'TypedDict'}):")
        limits = {field: longest(inner) for field, inner in schema["properties"].items()}
        notes = {field: f"  # at most {most} characters" for field, most in limits.items() if most}
        self.lines += [f"    {field}: {self.quoted(said)}{notes.get(field, '')}" for field, said in fields.items()] or ["    pass"]
        self.lines.append("")

    @staticmethod
    def quoted(text):
        return json.dumps(text)

    def of(self, schema, name):
        """The type of a schema, as it is written."""
        if schema is True or not schema:
            return "Any"
        if "$ref" in schema:
            return schema["$ref"].rsplit("/", 1)[1]
        if "const" in schema:
            return f"Literal[{schema['const']!r}]"
        if "enum" in schema:
            return f"Literal[{', '.join(map(repr, schema['enum']))}]"
        if "properties" in schema:
            return self.nested(schema, name)
        for key in ("oneOf", "anyOf"):
            if key in schema:
                parts = [self.of(part, name) for part in schema[key]]
                return " | ".join(dict.fromkeys(parts))
        if "allOf" in schema:
            return self.of(schema["allOf"][0], name)
        kind = schema.get("type")
        if isinstance(kind, list):
            return " | ".join(self.of({**schema, "type": one}, name) for one in kind)
        if kind == "array":
            return f"list[{self.of(schema.get('items', True), name)}]"
        if kind == "object":
            return f"dict[str, {self.of(schema.get('additionalProperties', True), name)}]"
        return PLAIN.get(kind, "Any")

    def nested(self, schema, name):
        consts = [inner["const"] for inner in schema["properties"].values() if "const" in inner]
        own = name + "".join(camel(str(const)) for const in consts)
        if own in self.schemas or own == name:
            own += "Object"
        if self.told.get(own) != schema:
            self.told[own] = schema
            if any("oneOf" == key for key in schema):
                self.lines += [f"{own}: TypeAlias = dict[str, Any]", ""]
            else:
                self.doc(schema)
                self.typed_dict(own, schema)
        return own


def longest(schema):
    """How many characters a text may have, or None."""
    return schema.get("maxLength") if isinstance(schema, dict) else None


def limits(method):
    """The limits of a method's texts, as a sentence of its docstring."""
    most = {}
    for param in method["params"]:
        if (characters := longest(param["schema"])) is not None:
            most.setdefault(characters, []).append(param["name"])
    said = [f"{', '.join(names)} {characters}" for characters, names in sorted(most.items())]
    return f"\n\n        Characters at most: {'; '.join(said)}.\n        " if said else ""


def types(document, extra):
    made = Types(document["components"]["schemas"])
    for name, schema in extra:
        made.declare(name, schema)
    head = HEAD.format(what="What travels: parameters, results and items.")
    imports = "\nfrom typing import Any, Literal, NotRequired, TypeAlias, TypedDict\n\n"
    return head + imports + "\n".join(made.lines).rstrip() + "\n"


def argument(name):
    return name + "_" if keyword.iskeyword(name) else name




def signature(method, namer):
    required, optional, pairs = [], [], []
    for param in method["params"]:
        said, name = namer.of(param["schema"], camel(method["name"]) + camel(param["name"])), argument(param["name"])
        if param["required"]:
            required.append(f"{name}: {said}")
        else:
            optional.append(f"{name}: {said if said.endswith('None') else said + ' | None'} = None")
        pairs.append(f"{param['name']!r}: {name}")
    arguments = ", ".join(["self", *(["*"] if pairs else []), *required, *optional])
    return arguments, "{" + ", ".join(pairs) + "}"


def methods(document, namer):
    blocking, waiting = [], []
    for method in document["methods"]:
        if method["paramStructure"] == "by-position":
            continue
        name, summary = method["name"].replace(".", "_"), method["summary"] + limits(method)
        arguments, params = signature(method, namer)
        watched = method.get("x-subscription")
        result = namer.of(watched["item"] if watched else method["result"]["schema"], camel(method["name"]) + "Result")
        if watched:
            call = f"({method['name']!r}, {watched['unsubscribe']!r}, {params})"
            blocking.append((name, arguments, f"Watch[{result}]", summary, f"return self._watch{call}"))
            waiting.append((name, arguments, f"AsyncWatch[{result}]", summary, f"return self._watch{call}"))
        else:
            call = f"({method['name']!r}, {params})"
            blocking.append((name, arguments, result, summary, f"return cast({json.dumps(result)}, self._call{call})"))
            waiting.append((name, arguments, result, summary, f"return cast({json.dumps(result)}, await self._call{call})"))
    out = [HEAD.format(what="The methods of the service, one by one."), "from __future__ import annotations", "",
           "from typing import Any, Literal, cast", "", "from .types import *", "from .watch import AsyncWatch, Watch", ""]
    for kind, rows in (("", blocking), ("Async", waiting)):
        base, awaiting = f"{kind}Methods", "async " if kind else ""
        out += ["", f"class {base}:", f'    """{"Asynchronous" if kind else "Synchronous"} methods."""', "",
                f"    {awaiting}def _call(self, method: str, params: dict[str, Any]) -> Any:",
                "        raise NotImplementedError", "",
                f"    def _watch(self, method: str, end: str, params: dict[str, Any]) -> {kind}Watch[Any]:",
                "        raise NotImplementedError", ""]
        for name, arguments, result, summary, body in rows:
            prefix = "" if "Watch[" in result else awaiting
            out += [f"    {prefix}def {name}({arguments}) -> {result}:", f'        """{summary}"""', f"        {body}", ""]
    return "\n".join(out).rstrip() + "\n"


def main():
    document = json.loads(DOCUMENT.read_text())
    namer = Types(document["components"]["schemas"])
    before = len(namer.lines)
    told = methods(document, namer)
    head = types(document, [])
    more = "\n".join(namer.lines[before:]).rstrip()
    made = {"types.py": head + ("\n" + more + "\n" if more else ""), "methods.py": told}
    differing = [name for name, text in made.items()
                 if not (HERE / "trisect" / name).exists() or (HERE / "trisect" / name).read_text() != text]
    if "--check" in sys.argv[1:]:
        if differing:
            sys.exit(f"not what the OpenRPC document says: {', '.join(differing)}: run clients/python/generate.py")
        return
    for name in differing:
        (HERE / "trisect" / name).write_text(made[name])


main()
