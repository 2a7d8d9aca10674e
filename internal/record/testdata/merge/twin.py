#!/usr/bin/env python3
"""Writes the vectors of this folder from docs/format.md and docs/protocol.md alone: a second, slow reading of the edit, the fold and the digest."""

import hashlib
import random

KIND = 4


def uvarint(x):
    out = bytearray()
    while x >= 0x80:
        out.append(x & 0x7F | 0x80)
        x >>= 7
    out.append(x)
    return bytes(out)


def varint(x):
    return uvarint(x << 1 if x >= 0 else (-x << 1) - 1)


def counted(b):
    return uvarint(len(b)) + b


def ident(first, last):
    return bytes([first] + [0] * 14 + [last])


def vector(v):
    return uvarint(len(v)) + b"".join(r + uvarint(v[r]) for r in sorted(v))


def clear_list(fields):
    return uvarint(len(fields)) + b"".join(uvarint(f) for f in sorted(fields))


class Edit:
    """writes is {path: {field: tagged bytes, or None for cleared}}."""

    def __init__(self, dot, context, writes, at=1, author=2, key=1):
        self.dot, self.context, self.writes, self.at = dot, dict(context), writes, at
        self.author, self.key = ident(author, 0), ident(key, 9)
        self.id = bytes([7]) + dot[0][:7] + dot[1].to_bytes(8, "big")

    def body(self):
        b = self.id + uvarint(KIND) + self.key + self.author + varint(self.at) + uvarint(len(self.writes))
        for path in sorted(self.writes):
            w = self.writes[path]
            b += counted(path) + counted(b"".join(w[f] for f in sorted(w) if w[f] is not None)) + clear_list([f for f in w if w[f] is None])
        return b

    def canonical(self):
        return b"\x01" + self.dot[0] + uvarint(self.dot[1]) + vector(self.context) + self.body()


def fold(edits):
    """The definition: a value is current unless an edit that saw it wrote the same register."""
    current = []
    for e in edits:
        for path, w in e.writes.items():
            for field, value in w.items():
                if not any(o is not e and o.writes.get(path, {}).get(field, 0) != 0 and o.context.get(e.dot[0], 0) >= e.dot[1] for o in edits):
                    current.append((path, e.dot, field, value))
    return current


def state(edits):
    seen = {}
    for e in edits:
        seen[e.dot[0]] = max(seen.get(e.dot[0], 0), e.dot[1])
    current = fold(edits)
    live = sorted({dot for _, dot, _, _ in current})
    by_dot = {e.dot: e for e in edits}
    replicas = sorted(seen)
    b = b"\x01" + uvarint(KIND) + edits[0].key + vector(seen) + uvarint(len(live))
    for dot in live:
        b += uvarint(replicas.index(dot[0])) + uvarint(dot[1]) + by_dot[dot].author + varint(by_dot[dot].at)
    fragments = sorted({(path, dot) for path, dot, _, _ in current})
    b += uvarint(len(fragments))
    for path, dot in fragments:
        here = {f: v for p, d, f, v in current if (p, d) == (path, dot)}
        b += uvarint(live.index(dot)) + counted(path)
        b += counted(b"".join(here[f] for f in sorted(here) if here[f] is not None)) + clear_list([f for f in here if here[f] is None])
    return b


def write(name, about, edits):
    heads = {}
    with open(name + ".txt", "w") as out:
        print("# " + about, file=out)
        for e in edits:
            heads[e.dot[0]] = hashlib.sha256(b"needlebook edit 1\0" + heads.get(e.dot[0], bytes(32)) + e.canonical()).digest()
            print("edit", e.canonical().hex(), file=out)
            print("chain", heads[e.dot[0]].hex(), file=out)
            print("body", hashlib.sha256(b"needlebook edit body 1\0" + e.body()).hexdigest(), file=out)
        s = state(edits)
        print("state", s.hex(), file=out)
        print("digest", hashlib.sha256(b"needlebook state 1\0" + s).hexdigest(), file=out)


A, B, C = ident(0xA0, 1), ident(0x0B, 2), ident(0xC0, 3)


def text(field, s):
    return uvarint(field << 3 | 2) + counted(s.encode())


def number(field, n):
    return uvarint(field << 3) + uvarint(n)


def path(*steps):
    return b"".join(uvarint(f) + ident(e, e) for f, e in steps)


write("concurrent", "two tablets write one field that both saw empty; both values stay", [
    Edit((A, 1), {}, {b"": {3: text(3, "x")}}),
    Edit((A, 2), {A: 1}, {b"": {2: text(2, "mentalis")}}),
    Edit((B, 1), {A: 1}, {b"": {2: text(2, "frontalis")}}, at=-62135596800000, author=3),
])
write("settled", "an edit that saw both values is the only one left; one that saw one leaves the other", [
    Edit((A, 1), {}, {b"": {2: text(2, "a"), 4: number(4, 300)}}),
    Edit((B, 1), {}, {b"": {2: text(2, "b"), 4: number(4, 301)}}),
    Edit((C, 7), {A: 1, B: 1}, {b"": {2: text(2, "c")}}),
    Edit((C, 200), {A: 1, C: 7}, {b"": {4: number(4, 302)}}),
])
write("equal", "equal values are kept with both dots, and a third sees only one of them", [
    Edit((A, 1), {}, {b"": {2: text(2, "a"), 3: text(3, "k")}}),
    Edit((B, 1), {}, {b"": {2: text(2, "a"), 3: text(3, "k")}}),
    Edit((C, 1), {A: 1}, {b"": {3: text(3, "n")}}),
])
write("cleared", "a field cleared beside a concurrent value, and one cleared for good", [
    Edit((A, 1), {}, {b"": {2: text(2, "a"), 3: text(3, "b"), 1000: number(1000, 1)}}),
    Edit((A, 2), {A: 1}, {b"": {2: None, 3: None}}),
    Edit((B, 1), {A: 1}, {b"": {2: text(2, "c")}}),
])
write("elements", "elements of two collections and one within another; fields with large numbers; a list of two values", [
    Edit((A, 1), {}, {path((40, 1)): {2: text(2, "mentalis")}, path((40, 1), (20, 5)): {2: text(2, "given")}}),
    Edit((B, 1), {}, {b"": {5: text(5, "one") + text(5, "two")}, path((40, 2)): {2: text(2, "procerus")}, path((70000, 1)): {2: number(2, 0)}}),
    Edit((B, 2), {A: 1, B: 1}, {path((40, 1)): {21: text(21, "void")}, path((40, 1), (20, 6)): {2: text(2, "given again")}}),
])
write("stale", "an author writes twice from one old read: his own first value is not superseded", [
    Edit((A, 1), {}, {b"": {2: text(2, "a")}}),
    Edit((A, 2), {A: 1}, {b"": {2: text(2, "b")}}),
    Edit((A, 3), {A: 1}, {b"": {2: text(2, "c")}}),
])

for seed in range(4):
    r = random.Random(seed)
    held, edits, counters = {x: {} for x in (A, B, C)}, [], {A: 0, B: 0, C: 0}
    for at in range(40):
        who = r.choice((A, B, C))
        if r.random() < 0.3:
            other = r.choice((A, B, C))
            held[who] = {x: max(held[who].get(x, 0), held[other].get(x, 0)) for x in held[who].keys() | held[other].keys()}
            continue
        counters[who] += 1 if not counters[who] else r.choice((1, 1, 1, 50))
        writes = {}
        for p in (b"", path((7, 1)), path((7, 2)), path((7, 1), (9, 3))):
            w = {f: r.choice((None, number(f, r.randrange(1, 4)), text(f, "v" * r.randrange(1, 200)))) for f in (2, 3, 130) if r.random() < 0.4}
            if w:
                writes[p] = w
        if not writes:
            writes = {b"": {2: number(2, 1)}}
        edits.append(Edit((who, counters[who]), held[who], writes, at=r.randrange(-(1 << 62), 1 << 62), author=r.choice((2, 3))))
        held[who] = held[who] | {who: counters[who]}
    write("random%d" % seed, "drawn from seed %d" % seed, edits)
