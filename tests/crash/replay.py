"""What may lie on a disk after the power went, made of a record of shim.c.

The model is what POSIX promises, which is less than most file systems keep:

- Written bytes are on the disk once fsync() or fdatasync() of their file came back. Of what
  was written since, any sectors of 512 bytes may be there, in any order, and a file may be
  longer or shorter than it was.
- A name is on the disk once fsync() of its folder came back: made, renamed, taken out. Of
  the changes since, any may be there. But a change is there whole or not at all (a rename
  never loses a file between two folders; every file system with a journal keeps that), and
  changes of one file, or of one name, are there in the order in which they were done.
- A folder whose own name is lost takes with it what lies in it.
- fsync() of a new file says nothing of its name, and the other way round.

What somebody dropped into inbox/ and desk/ is theirs to bring to the disk; so it may be lost
after the program moved it, if the program did not sync it before. While it lies where they
dropped it, or in work/, it stands whole here: losing it there is not ours to prevent.
"""
import hashlib
import os
import random

SECTOR = 512
MOVES = ("create", "rename", "unlink", "mkdir", "link")


class Thing:
    """A file, whatever it is called."""

    def __init__(self, content=b"", mtime=None, theirs=False):
        self.content, self.mtime, self.theirs = content, mtime, theirs


class Op:
    def __init__(self, kind, thing=None, old=None, new=None, at=0, data=b""):
        self.kind, self.thing, self.old, self.new, self.at, self.data = kind, thing, old, new, at, data

    @property
    def folders(self):
        return {os.path.dirname(p) for p in (self.old, self.new) if p is not None}

    def __str__(self):
        return f"{self.kind} {self.old or ''} {self.new or ''}"


class Record:
    """Take it before the program runs; read() afterwards."""

    def __init__(self, root):
        self.root = root
        self.folders, self.names, self.by_number = {""}, {}, {}
        for folder, _, files in os.walk(root):
            below = folder[len(root) + 1:]
            self.folders.add(below)
            for name in files:
                path = os.path.join(below, name)
                if path.endswith(("-shm", ".lock")):
                    continue
                st = os.stat(f"{root}/{path}")
                with open(f"{root}/{path}", "rb") as f:
                    self.names[path] = Thing(f.read(), st.st_mtime_ns, path.startswith(
                        ("drop/inbox/", "drop/desk/")))
                self.by_number[st.st_ino] = self.names[path]
        self.op, self.said = [], []

    def below(self, path):
        return path[len(self.root) + 1:]

    def read(self, log):
        with open(log, "rb") as f:
            raw = f.read()
        names, at = dict(self.names), 0
        while at < len(raw):
            end = raw.index(b"\n", at)
            kind, *rest = raw[at:end].decode().split("\t")
            at = end + 1
            if kind in ("write", "said"):
                size = int(rest[-1])
                data, at = raw[at:at + size], at + size
            if kind == "write":
                self.op.append(Op(kind, self.by_number[int(rest[0])], at=int(rest[1]), data=data))
            elif kind == "cut":
                self.op.append(Op(kind, self.by_number[int(rest[0])], at=int(rest[1])))
            elif kind == "sync":
                # The name is that of this moment.
                self.op.append(Op(kind, self.by_number[int(rest[0])], old=self.below(rest[1])))
            elif kind == "syncdir":
                self.op.append(Op(kind, old=self.below(rest[1])))
            elif kind == "create":
                path = self.below(rest[1])
                names[path] = self.by_number[int(rest[0])] = Thing()
                self.op.append(Op(kind, names[path], new=path))
            elif kind == "rename":
                old, new = map(self.below, rest)
                names[new] = names.pop(old)
                self.op.append(Op(kind, names[new], old, new))
            elif kind == "unlink":
                path = self.below(rest[0])
                self.op.append(Op(kind, names.pop(path, None), old=path))
            elif kind == "mkdir":
                self.op.append(Op(kind, new=self.below(rest[0])))
            elif kind == "said":
                self.said.append((len(self.op), int(rest[0]), data.decode(errors="replace") or "all"))
            else:
                raise ValueError(kind)
        return self

    def told(self, k, fd):
        """All that was said before step k; of standard output only that it was."""
        return "".join(text for at, to, text in self.said if at <= k and to == fd)

    def points(self):
        """Where the machine may stop: on both sides of each sync, and after each change of a
        name; 0 and the end too."""
        out = {0, len(self.op)}
        for i, op in enumerate(self.op):
            if op.kind in ("sync", "syncdir"):
                out |= {i, i + 1}
            elif op.kind in MOVES:
                out.add(i + 1)
        return sorted(out)


def forced(op, k, syncs):
    """Of the first k steps those that are on the disk for certain."""
    last_file, last_folder, sure, things = {}, {}, set(), set()
    for i in range(k):
        if op[i].kind == "sync" and i in syncs:
            last_file[op[i].thing] = i
        elif op[i].kind == "syncdir" and i in syncs:
            last_folder[op[i].old] = i
    for i in reversed(range(k)):
        o = op[i]
        if o.kind in ("write", "cut"):
            if last_file.get(o.thing, -1) > i:
                sure.add(i)
        elif o.kind in MOVES:
            # What made a file is there when a later move of it is.
            if any(last_folder.get(d, -1) > i for d in o.folders) or o.thing in things:
                sure.add(i)
                if o.thing is not None:
                    things.add(o.thing)
    return sure, last_file


class State:
    """Names and contents; the same ones are the same state."""

    def __init__(self, record, k, syncs, rng, names, bytes_):
        """`names`, `bytes_`: how much of the rest is there: "none", "all" or "some"."""
        op = record.op
        sure, synced = forced(op, k, syncs)
        self.folders, self.at = set(record.folders), dict(record.names)
        content, lost = {}, set()
        for i in range(k):
            o = op[i]
            if o.kind in ("write", "cut"):
                self.change(content, o, "all" if i in sure else bytes_, rng)
            elif o.kind in MOVES:
                held = {o.thing} - {None} | {("name", p) for p in (o.old, o.new) if p is not None}
                there = i in sure or (not held & lost and (names == "all" or (
                    names == "some" and rng.random() < 0.6)))
                if there:
                    self.move(o)
                else:
                    lost |= held
        self.at = {p: t for p, t in self.at.items() if self.reached(p)}
        self.content = {}
        for path, t in self.at.items():
            # Another's file that we moved and never synced is as empty as it may be.
            gone = (t.theirs and t not in synced and bytes_ != "all" and
                    path.split("/")[:2] not in (["drop", "inbox"], ["drop", "desk"], ["drop", "work"]))
            self.content[path] = b"" if gone else bytes(content.get(t, t.content))

    @staticmethod
    def change(content, o, how, rng):
        c = content.setdefault(o.thing, bytearray(o.thing.content))
        if how == "none" or (how == "some" and rng.random() < 0.4):
            return
        if o.kind == "cut":
            del c[o.at:]
            c.extend(bytes(o.at - len(c)))
            return
        torn = how == "some" and rng.random() < 0.4
        for at in range(0, len(o.data), SECTOR if torn else len(o.data)):
            piece = o.data[at:at + SECTOR] if torn else o.data
            if torn and rng.random() < 0.5:
                continue
            c.extend(bytes(max(0, o.at + at - len(c))))
            c[o.at + at:o.at + at + len(piece)] = piece

    def move(self, o):
        if o.kind == "mkdir":
            self.folders.add(o.new)
        if o.kind in ("rename", "unlink"):
            self.at.pop(o.old, None)
            self.folders.discard(o.old)
        if o.kind in ("create", "rename", "link"):
            self.at[o.new] = o.thing

    def reached(self, path):
        folder = os.path.dirname(path)
        return folder == "" or (folder in self.folders and self.reached(folder))

    def key(self):
        h = hashlib.sha256()
        for path in sorted(self.content):
            h.update(path.encode() + b"\0" + hashlib.sha256(self.content[path]).digest())
        return h.hexdigest()

    def write(self, root):
        for folder in sorted(self.folders):
            if self.reached(folder):
                os.makedirs(f"{root}/{folder}", mode=0o700, exist_ok=True)
        for path, c in self.content.items():
            with open(f"{root}/{path}", "wb") as f:
                f.write(c)
            if self.at[path].mtime:
                os.utime(f"{root}/{path}", ns=(self.at[path].mtime,) * 2)


def states(record, seed, drop=None, random_ones=2):
    """(k, which, State), no state twice: after every stop the least and the most that may be
    there, and a few of what lies between. `drop` names syncs that the program is thought not
    to do; then only stops after one of these."""
    syncs = {i for i, op in enumerate(record.op) if op.kind in ("sync", "syncdir")}
    dropped = {i for i in syncs if drop and drop(record.op[i])}
    syncs -= dropped
    rng, seen = random.Random(seed), set()
    for k in record.points():
        if drop and not dropped or k <= min(dropped, default=-1):
            continue
        for names, bytes_ in [("none", "none"), ("all", "none"), ("none", "all"), ("all", "all"),
                              ("all", "some")] + [("some", "some")] * random_ones:
            s = State(record, k, syncs, rng, names, bytes_)
            key = k, s.key()
            if key not in seen:
                seen.add(key)
                yield k, f"{names} of the names, {bytes_} of the bytes", s
