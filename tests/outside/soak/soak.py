"""A soak: one trisectd with eight bays, driven with jobs, retries, reloads, kills, a full disk, a clock that is set, slow and
dead subscribers and bad requests, from a plan that its seed makes. What was acknowledged is held against what is stored
throughout. It ends with figures, or with the first invariant that does not hold, its step and its seed.

usage: soak.py TRISECTD [--seed N] [--seconds N] [--pace SECONDS] [--disk MIB] [--memory MIB] [--without KIND] [--plan] [--keep]
"""

import argparse
import asyncio
import glob
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import plan
from bay import Worker
from config import Configuration
from connection import Connection
from faults import Faults
from noise import Noise
from rules import Rules
from service import Service
from surroundings import Disk, Meter, Webhook
from violation import Tally, Violation

RULESET = "distributor-pump-12v"
RULES = Path(__file__).resolve().parents[3] / "service/rules/rulesets" / f"{RULESET}.toml"


def arguments():
    said = argparse.ArgumentParser(description="A soak of trisectd.")
    said.add_argument("program")
    said.add_argument("--seed", type=int, default=1)
    said.add_argument("--seconds", type=float, default=45.0, help="how long the plan is")
    said.add_argument("--pace", type=float, default=0.05, help="mean pause between two actions of a bay, in seconds")
    said.add_argument("--disk", type=int, default=768, help="the small disk, in MiB")
    said.add_argument("--memory", type=int, default=256, help="the most that the service may hold, in MiB")
    said.add_argument("--without", action="append", default=[], help="leave a kind of disturbance out, each in its turn")
    said.add_argument("--plan", action="store_true", help="print the plan and end")
    said.add_argument("--keep", action="store_true", help="leave the folder as it is")
    return said.parse_args()


def clock_library():
    """libfaketime, by which the service's wall clock is set and nobody else's; none where it is not installed."""
    found = glob.glob("/usr/lib/*/faketime/libfaketimeMT.so.1")
    return found[0] if found else None


async def first_failed(tasks, until):
    """Waits for `until`; whatever else ends before it ends the soak."""
    done, _ = await asyncio.wait({until, *tasks}, return_when=asyncio.FIRST_COMPLETED)
    for task in done:
        task.result()
        if task is not until:
            raise Violation(f"a task ended before its time: {task}")


async def soak(said, folder, tally):
    clock = clock_library()
    disk = Disk(folder / "disk", said.disk)
    if os.environ.get("CI") and not (disk.mounted and clock):
        raise Violation("on CI the soak has to be able to mount a small disk and to set a clock (Debian: apt-get install faketime)")
    service = Service(said.program, folder, tally, 5.0, clock)
    webhook = Webhook(folder)
    await webhook.start()
    tokens = folder / "tokens.toml"
    adding = [said.program, "token", "add", "reader", "--role", "read", "--file", tokens]
    token = subprocess.run(adding, check=True, capture_output=True).stdout.strip()
    meters = {bay: Meter(folder / f"{bay}-meter") for bay in plan.METERED}
    configuration = Configuration(service, tokens, webhook, meters)
    configuration.write()
    print(f"soak: seed {said.seed}, {said.seconds:.0f} s, plan {plan.digest(said.seed, said.seconds)}")
    print(f"soak: disk: {disk.what}; clock: {clock or 'not set, there is no libfaketime'}")
    print(f"soak: {said.program} on {service.url} in {folder}", flush=True)
    tasks = [asyncio.create_task(meter.run()) for meter in meters.values()]
    tasks.append(asyncio.ensure_future(service.failed))
    try:
        await service.start()
        heavy = [Connection(service, tally) for _ in range(4)]
        rules = Rules(await heavy[0].call("ruleset.show", ruleset=RULESET))
        workers = [Worker(said.seed, bay, service, configuration, tally, rules, said.pace) for bay in plan.BAYS]
        faults = Faults(service, configuration, disk, meters, Noise(service, tally, token), workers, tally, clock)
        faults.rules_text, faults.heavy = RULES.read_text() if RULES.exists() else "", heavy
        tasks.append(asyncio.create_task(service.watch(said.memory)))
        tasks += [asyncio.create_task(worker.listen()) for worker in workers]
        work = [asyncio.create_task(worker.run()) for worker in workers]
        planned = [one for one in plan.disturbances(said.seed, said.seconds) if one["kind"] not in said.without]
        begun = time.monotonic()
        try:
            carried = asyncio.create_task(faults.run(planned, begun))
            await first_failed(tasks + work, carried)
            await first_failed(tasks + work, asyncio.create_task(asyncio.sleep(max(0.0, begun + said.seconds - time.monotonic()))))
            await first_failed(tasks + work, asyncio.create_task(faults.settled()))
            for worker in workers:
                worker.ending = True
            await first_failed(tasks, asyncio.ensure_future(asyncio.gather(*work)))
            await first_failed(tasks, asyncio.create_task(at_the_end(said, service, webhook, heavy[0], workers, faults, tally)))
        except Exception as found:
            steps = "; ".join([faults.step, *(worker.step for worker in workers)])
            raise Violation(f"{found}\n  at {time.monotonic() - begun:.1f} s: {steps}") from found
    finally:
        for task in tasks:
            task.cancel()
        service.up.clear()
        if service.process and service.process.returncode is None:
            service.process.kill()
            await service.process.wait()
        disk.free()
        if said.keep:
            shutil.copytree(folder / "disk", folder / "journal", dirs_exist_ok=True)
        tally.done["disk used, of a hundred"] = disk.used()
        disk.unmount()
    return {"seed": said.seed, "seconds": said.seconds, "disk": disk.what, "clock": bool(clock), **tally.told(), "log_errors": service.errors}


async def at_the_end(said, service, webhook, connection, workers, faults, tally):
    """Everything once more, before and after a last stop."""
    await asyncio.gather(*(worker.all_closed() for worker in workers))
    await faults.do_terminate()
    await asyncio.gather(*(worker.all_closed() for worker in workers))
    jobs = [job for worker in workers for job in worker.closed]
    await told(webhook, jobs, tally)
    await audited(connection, tally)
    await faults.do_terminate()
    service.up.clear()
    await service.kill()


async def audited(connection, tally):
    """What was answered when writing was possible is in the audit trail."""
    there, before = Counter(), None
    while True:
        page = await connection.call("audit.list", limit=1000, before=before)
        for entry in page["entries"]:
            if entry["outcome"] == "ok":
                there[entry["what"]] += entry["count"]
        if not page["more"]:
            break
        before = page["entries"][-1]["seq"]
    for method, count in tally.audited.items():
        tally.hold("what was answered is in the audit trail", there[method] >= count, lambda: f"{method}: {there[method]} of {count}")
    tally.done["audit entries"] = sum(there.values())


async def told(webhook, jobs, tally):
    """Every job's opening and closing were sent, signed, at least once and in order."""
    until = time.monotonic() + 60.0
    wanted = ["trisect.job.opened", "trisect.job.closed"]

    def missing():
        return [job.id for job in jobs if not set(wanted) <= set(webhook.order.get(job.id, []))]

    while missing() and time.monotonic() < until:
        await asyncio.sleep(0.2)
    tally.hold("an event is signed", webhook.problem is None, lambda: webhook.problem)
    tally.hold("a job's events are sent", not missing(), lambda: f"not of {missing()[:5]}, of {len(jobs)}; told of {list(webhook.order.items())[:3]}")
    for job in jobs:
        order = [kind for kind in webhook.order[job.id] if kind in wanted]
        tally.hold("a job's events are sent in order", order == wanted, lambda: f"{job.id}: {order}")
    # A stop or a kill forgets what arrived a moment before; an exchange of the webhook may, on a full disk.
    often, restarts = max(webhook.seen.values()), tally.done["starts"] + tally.done["reload"] + tally.done["reload-kill"]
    tally.hold("an event is not sent over and over", often <= 1 + restarts, lambda: f"one was sent {often} times, with {restarts} restarts")
    tally.done["webhook events"] = len(webhook.seen)
    tally.done["webhook events sent again"] = sum(webhook.seen.values()) - len(webhook.seen)


def main():
    said = arguments()
    if said.plan:
        for one in plan.disturbances(said.seed, said.seconds):
            if one["kind"] not in said.without:
                print(json.dumps(one))
        for bay in plan.BAYS:
            print(json.dumps({"bay": bay, "jobs": [plan.job(said.seed, bay, number) for number in range(3)]}))
            print(json.dumps({"bay": bay, "actions": [plan.action(said.seed, bay, number)["kind"] for number in range(100)]}))
        print(f"plan {plan.digest(said.seed, said.seconds)}")
        return
    folder = Path(tempfile.mkdtemp(prefix="trisect-soak-"))
    tally = Tally()
    try:
        figures = asyncio.run(soak(said, folder, tally))
    except Violation as found:
        print(f"soak: seed {said.seed}: {found}", file=sys.stderr)
        without = "".join(f" --without {kind}" for kind in said.without)
        again = f"soak.py {said.program} --seed {said.seed} --seconds {said.seconds:.0f} --pace {said.pace}{without}"
        print(f"soak: again by: {again}", file=sys.stderr)
        log = (folder / "log").read_bytes()[-4000:].decode(errors="replace")
        print(f"soak: the log, all of it in {folder}/log, ends:\n{log}\nsoak: {json.dumps(tally.told())}", file=sys.stderr)
        sys.exit(1)
    if not said.keep:
        shutil.rmtree(folder)
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
