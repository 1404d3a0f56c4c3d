"""The Python client against a real service: every method of the OpenRPC document, synchronous and asynchronous, what is
refused, what is watched, and the job that INTEGRATING.md walks through.

usage: client.py OPENRPC.JSON EXAMPLES-DIRECTORY INTEGRATING.MD     (TRISECT_SERVER says where the service is)
"""
import asyncio
import inspect
import json
import sys
from pathlib import Path

import trisect
from trisect import AsyncClient, Client, ConnectionLost, TrisectError

document = json.loads(Path(sys.argv[1]).read_text())
examples = Path(sys.argv[2])
integrating = Path(sys.argv[3]).read_text()


def example(name):
    path = examples / f"{name}.json"
    return json.loads(path.read_text()).get("params", {})


def arguments(function, params):
    """Parameters as the client spells them: a name that Python keeps for itself has an underscore."""
    names = inspect.signature(function).parameters
    return {name if name in names else name + "_": value for name, value in params.items()}


def declared(method):
    return {error["$ref"].rsplit("/", 1)[1] for error in method["errors"]}


async def every_method():
    """Calls each with the parameters of its example: it answers, or refuses in a way that the document names."""
    called = 0
    with Client() as blocking:
        async with AsyncClient() as waiting:
            for method in document["methods"]:
                name = method["name"].replace(".", "_")
                if method["paramStructure"] == "by-position":
                    continue
                assert hasattr(blocking, name) and hasattr(waiting, name), f"{name} is missing"
                params = arguments(getattr(blocking, name), example(method["name"]))
                if "x-subscription" in method:
                    getattr(blocking, name)(**params).close()
                    async with getattr(waiting, name)(**params):
                        pass
                    called += 1
                    continue
                for call in (getattr(blocking, name), getattr(waiting, name)):
                    try:
                        answer = call(**params)
                        answer = await answer if inspect.isawaitable(answer) else answer
                        assert isinstance(answer, dict), f"{name}: {answer!r}"
                    except TrisectError as error:
                        assert error.kind in declared(method) - {"invalid-params", "internal"}, f"{name}: {error.kind}: {error}"
                called += 1
    return called


def refusals():
    with Client() as service:
        try:
            service.bay_list()
            service.reading_enter(bay="bay-9", point="battery", value="12 V", by="a test")
            raise SystemExit("a bay that does not exist was entered into")
        except TrisectError as error:
            assert (error.kind, error.code, error.field) == ("unknown-bay", 1001, "bay"), error
            assert error.hint and "bay-1" in error.hint, error.hint
    try:
        Client("ws://127.0.0.1:1/rpc")
        raise SystemExit("connected to nobody")
    except ConnectionLost:
        pass


async def watching():
    """A verdict watched asynchronously, while calls go on beside it."""
    async with AsyncClient() as service:
        job = await service.job_open(bay="bay-1", machine="Unit 14", by="a test")
        async with service.verdict_watch(bay="bay-1") as verdicts:
            async def first_with_evidence():
                async for item in verdicts:
                    if item["kind"] == "verdict" and item["evidence"]:
                        return item
            async with asyncio.timeout(20):
                following = asyncio.create_task(first_with_evidence())
                await service.reading_enter(bay="bay-1", point="battery", value="12.6 V", by="a test", phase="off")
                found = await following
        assert found["job"] == job["job"] and found["evidence"][0]["check"], found
        # Many at once, on one connection.
        shown = await asyncio.gather(*(service.job_show(job=job["job"]) for _ in range(50)))
        assert all(one["readings"] == 1 for one in shown)
        await service.job_close(job=job["job"])


def walk_through():
    """The job of INTEGRATING.md, as it is printed there."""
    chapter = integrating.split("## A job in Python", 1)[1].split("\n## ", 1)[0]
    blocks = [part.split("```", 1)[0] for part in chapter.split("```python\n")[1:]]
    assert blocks, "INTEGRATING.md has no Python in its chapter"
    space = {}
    for block in blocks:
        exec(compile(block, "INTEGRATING.md", "exec"), space)
    return space


def clear():
    """Closes what the examples opened."""
    with Client() as service:
        for job in service.job_list(state="open")["jobs"]:
            service.job_close(job=job["job"])


called = asyncio.run(every_method())
clear()
refusals()
asyncio.run(watching())
space = walk_through()
assert space["closed"]["state"] == "closed" and space["closed"]["confirmed"] == ["lift-pump-weak"], space["closed"]
assert "supply" in space["record"]["text"], space["record"]
assert (Path(trisect.__file__).parent / "py.typed").exists(), "py.typed is not installed"
print(json.dumps({"methods": called, "python": sys.version.split()[0]}))
