"""The service's own answers, from the example program `answers`, one JSON line a question."""

import json
import random
import subprocess
import sys


class Ours:
    def __init__(self):
        if len(sys.argv) != 3:
            sys.exit(f"usage: {sys.argv[0]} PROGRAM SEED")
        self.program = subprocess.Popen(
            [sys.argv[1]], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.random = random.Random(int(sys.argv[2]))
        self.compared = 0
        self.differ = []

    def ask(self, name, **of):
        self.program.stdin.write(json.dumps({name: of}) + "\n")
        self.program.stdin.flush()
        return json.loads(self.program.stdout.readline())

    def decode(self, protocol, data):
        return self.ask("decode", protocol=protocol, hex=bytes(data).hex())

    def bytes(self, count):
        return bytes(self.random.randrange(256) for _ in range(count))

    def compare(self, case, own, other):
        self.compared += 1
        if own != other:
            self.differ.append(f"{case}: ours {own}, theirs {other}")

    def end(self, what, least):
        self.program.stdin.close()
        self.program.wait()
        for line in self.differ[:20]:
            print("  " + line)
        print(f"{what}: {self.compared} compared, {len(self.differ)} differ (seed {sys.argv[2]})")
        if self.differ or self.compared < least:
            sys.exit(1)
