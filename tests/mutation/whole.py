"""All mutants of a room in one program, which is built once: tests/mutation/run starts it.

Each function that cargo-mutants would change is copied once for each change, into the arms of one
`match` on the number of the mutant, which the environment names. An arm that does not compile is no
mutant, and is taken out. The few that cannot be built so (outside of functions, in functions that
return `impl`, or that a constant calls) go through cargo-mutants one by one. Those that no test
notices go to `missed.txt`, named as cargo-mutants does.
"""

import argparse
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import threading
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

MEMORY_MAX = 4 << 30
# A test does not end if it takes this often what it takes without a mutant, in processor time, and
# not less than so many seconds; or if it waits so many seconds by the clock.
ENDLESS_TIMES = 10
ENDLESS_S_MIN = 5
WAITS_S = 300
SWITCH = """
/// The mutant that is tried; 0 is none.
pub fn mutant() -> usize {
    static MUTANT: std::sync::OnceLock<usize> = std::sync::OnceLock::new();
    *MUTANT.get_or_init(|| std::env::var("MUTANT").map_or(0, |m| m.parse().unwrap_or(0)))
}
"""


class Text:
    """A file, and where its lines and columns are."""

    def __init__(self, path):
        self.text = path.read_text()
        self.starts = [0]
        for line in self.text.split("\n"):
            self.starts.append(self.starts[-1] + len(line) + 1)

    def at(self, place):
        return self.starts[place["line"] - 1] + place["column"] - 1

    def span(self, of):
        return self.at(of["start"]), self.at(of["end"])


def listed(room):
    """Every change that cargo-mutants knows of in this room, numbered from 1."""
    words = ["cargo", "mutants", "--in-place", "-f", f"src/{room}/**", "--list", "--json"]
    mutants = json.loads(subprocess.run(words, check=True, capture_output=True).stdout)
    return {number: mutant for number, mutant in enumerate(mutants, 1)}


def outermost(text, mutants):
    """The mutants by the function that they are in, the outermost where functions nest."""
    spans = sorted({text.span(mutant["function"]["span"]) for mutant in mutants.values()})
    tops = [s for s in spans if not any(t != s and t[0] <= s[0] and s[1] <= t[1] for t in spans)]
    by_top = defaultdict(list)
    for number, mutant in mutants.items():
        start, end = text.span(mutant["function"]["span"])
        top = next(top for top in tops if top[0] <= start and end <= top[1])
        by_top[top].append(number)
    return by_top


def written(text, mutants):
    """The file with every function in as many versions as it has mutants, and each one's lines."""
    out, lines, done = [], {}, 0
    line = 1

    def put(piece):
        nonlocal line
        out.append(piece)
        line += piece.count("\n")

    for (start, end), numbers in sorted(outermost(text, mutants).items()):
        body = body_of(text.text, start)
        head = text.text[done:body]
        place = head.rfind("const fn", max(0, start - done - 24))
        if place >= 0:
            head = head[:place] + head[place + len("const ") :]
        put(head + "{ match crate::mutant() {\n")
        for number in numbers:
            first = line
            a, b = text.span(mutants[number]["span"])
            changed = text.text[body:a] + mutants[number]["replacement"] + text.text[b:end]
            put(f"{number} => {changed}\n")
            lines[number] = (first, line - 1)
        put(f"_ => {text.text[body:end]}\n}} }}")
        done = end
    put(text.text[done:])
    return "".join(out), lines


def body_of(text, start):
    """Where the body of the function that begins here opens."""
    name = re.compile(r"\bfn\s+\w+").search(text, start)
    depth, place = 0, name.end()
    while True:
        sign = text[place]
        if sign in "([":
            depth += 1
        elif sign in ")]":
            depth -= 1
        elif sign == "{" and depth == 0:
            return place
        place += 1


def build(home, mutants):
    """Builds until every arm compiles. The program, the numbers in it, and what it left out."""
    whole = home / "whole"
    texts = {file: Text(home / file) for file in {m["file"] for m in mutants.values()}}
    inside = {
        number: mutant
        for number, mutant in mutants.items()
        if mutant["function"] and "impl " not in mutant["function"]["return_type"]
    }
    apart = set(mutants) - set(inside)
    unviable = set()
    while True:
        lines = {}
        for file, text in texts.items():
            here = {n: m for n, m in inside.items() if m["file"] == file}
            code, lines[file] = written(text, here) if here else (text.text, {})
            (whole / file).write_text(code)
        executable, errors = compiled(whole)
        if not errors:
            return executable, set(inside), apart, unviable
        bad = {n for e in errors for n in in_arms(e, lines)}
        constant = {n for e in errors for n in called_by_constants(e, inside)} - bad
        if not bad and not constant:
            sys.exit("the mutants do not build:\n" + "\n".join(e["rendered"] for e in errors[:5]))
        print(f"  {len(bad)} do not compile", flush=True)
        unviable |= bad
        apart |= constant
        inside = {n: m for n, m in inside.items() if n not in bad | constant}


def compiled(whole):
    words = ["cargo", "test", "--no-run", "--lib", "--quiet", "--message-format=json"]
    target = {"CARGO_TARGET_DIR": str(whole.parent / "target")}
    done = subprocess.run(words, cwd=whole, capture_output=True, text=True, env=os.environ | target)
    executable, errors = None, []
    for line in filter(lambda line: line.startswith("{"), done.stdout.splitlines()):
        message = json.loads(line)
        executable = message.get("executable") or executable
        told = message.get("message", {})
        if message.get("reason") == "compiler-message" and told["level"] == "error" and told["spans"]:
            errors.append(told)
    if done.returncode and not errors:
        sys.exit(f"the room does not build:\n{done.stderr}")
    return executable, errors


def in_arms(error, lines):
    for span in error["spans"]:
        for number, (first, last) in lines.get(span["file_name"], {}).items():
            if span["is_primary"] and first <= span["line_start"] <= last:
                yield number


def called_by_constants(error, inside):
    """A constant calls a function, which therefore has to stay constant."""
    if (error["code"] or {}).get("code") != "E0015":
        return
    name = re.search(r"`([^`]+)`", error["message"])
    name = name and name[1].split("::")[-1].split("(")[0]
    for number, mutant in inside.items():
        if mutant["function"]["function_name"].split("::")[-1] == name:
            yield number


def noticed(executable, whole, number, words, cpu_s):
    """Whether a test fails, or does not end, with this mutant."""
    env = os.environ | {"MUTANT": str(number), "RUST_BACKTRACE": "0", "RUST_TEST_THREADS": "1"}

    def limited():
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_MAX, MEMORY_MAX))
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))

    words = [executable, *words]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL}
    tests = subprocess.Popen(words, cwd=whole, env=env, preexec_fn=limited, text=True, **pipes)
    too_late = threading.Timer(WAITS_S, tests.kill)
    too_late.start()
    # The first test that fails is enough.
    failed = any(line.endswith("FAILED\n") for line in tests.stdout)
    if failed:
        tests.kill()
    ended = tests.wait()
    too_late.cancel()
    if ended == 0:
        return ""
    return "no end" if not failed and ended in (-signal.SIGXCPU, -signal.SIGKILL) else "a failure"


def taken_s(executable, whole, words):
    """What the tests take without any mutant, in seconds of processor time."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    if noticed(executable, whole, 0, words, 600):
        sys.exit("the tests fail without any mutant")
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before


def tried(executable, home, numbers, slow):
    """Which of these no test notices, and how many tests did not end."""
    whole = home / "whole"
    skip = [word for test in slow for word in ("--skip", test)]
    stages = [skip, []] if slow else [[]]
    limits = [
        max(ENDLESS_S_MIN, round(ENDLESS_TIMES * taken_s(executable, whole, words)))
        for words in stages
    ]

    def one(number):
        for words, cpu_s in zip(stages, limits):
            found = noticed(executable, whole, number, words, cpu_s)
            if found:
                return number, found
        return number, ""

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        found = []
        for done, result in enumerate(pool.map(one, sorted(numbers)), 1):
            found.append(result)
            if done % 200 == 0 or done == len(numbers):
                print(f"  {done} of {len(numbers)} tried", flush=True)
    return {n for n, how in found if not how}, sum(how == "no end" for _, how in found)


def one_by_one(room, names):
    """The names of those that cargo-mutants tries and no test notices."""
    if not names:
        return []
    exact = "^(" + "|".join(re.sub(r"([^\w\s<>/:,&'\"=!;%@#~-])", r"\\\1", n) for n in names) + ")$"
    words = ["cargo", "mutants", "--in-place", "-f", f"src/{room}/**", "-F", exact]
    words += ["--timeout", str(2 * ENDLESS_S_MIN), "--build-timeout", "120", "--colors", "never"]
    done = subprocess.run(words)
    if done.returncode not in (0, 2, 3):
        sys.exit(f"cargo-mutants ended with {done.returncode}")
    return (Path("mutants.out") / "missed.txt").read_text().splitlines()


def main():
    words = argparse.ArgumentParser()
    words.add_argument("room")
    words.add_argument("--only", default="", help="a regular expression for names of mutants")
    words.add_argument("--slow", nargs="*", default=[], help="tests tried on what others miss")
    asked = words.parse_args()
    home, only = Path.cwd(), re.compile(asked.only)
    mutants = {n: m for n, m in listed(asked.room).items() if only.search(m["name"])}
    print(f"{asked.room}: {len(mutants)} mutants", flush=True)
    shutil.rmtree(home / "whole", ignore_errors=True)
    for part in ("src", "tests", "fixtures", "ground"):
        shutil.copytree(home / part, home / "whole" / part)
    shutil.copy(home / "Cargo.lock", home / "whole")
    deeper = lambda text: text.replace('"../', '"../../')
    (home / "whole/Cargo.toml").write_text(deeper((home / "Cargo.toml").read_text()))
    ground = home / "whole/ground/Cargo.toml"
    ground.write_text(deeper(ground.read_text()))
    library = home / "whole/src/lib.rs"
    head, rest = library.read_text().split("\n", 1)
    library.write_text(f"{head}\n#![allow(warnings)]\n{rest}{SWITCH}")
    executable, inside, apart, unviable = build(home, mutants)
    missed, endless = tried(executable, home, inside, asked.slow)
    names = [mutants[n]["name"] for n in sorted(missed)]
    write = lambda: (home / "missed.txt").write_text("".join(f"{name}\n" for name in names))
    write()
    names += one_by_one(asked.room, [mutants[n]["name"] for n in sorted(apart)])
    write()
    print(
        f"{asked.room}: {len(mutants)} mutants, {len(unviable)} do not compile, "
        f"{len(names)} that no test notices; {endless} made a test endless; "
        f"{len(apart)} were tried one by one"
    )


main()
