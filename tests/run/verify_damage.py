#!/usr/bin/python3
"""`verify` names every kind of damage, one at a time, and never passes a job that has it.

Each case starts from a valid job (see verify_good.py), changes one thing, and states the codes and the
subject that must be told. Cases marked `seal` write the tag manifest and the proof archive anew over the
change, so that only the one layer beneath can notice.
"""

import json
import os
import pathlib
import shutil
import zipfile

import _job_maker as maker
from _harness import check, finish, run, work_folder

PC = maker.PC
PLOTS = f"{PC}/mara/Documents/plots.txt"
SHED = f"{PC}/mara/Pictures/shed.jpg"
PROOF = f"{maker.NAME}-proof.zip"


def part_name(format, group="mara-documents"):
    return f"{maker.NAME}-files" if format == "folder" else f"{maker.NAME}-{group}.{format}"


def flip(path, at):
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)


def edit(path, old, new, count=1):
    data = path.read_bytes()
    assert old in data, (path, old)
    path.write_bytes(data.replace(old, new, count))


def edit_record(folder, match, change):
    """Changes the record's line whose path ends in `match`; None drops it, a list replaces it."""
    lines = (folder / "record.jsonl").read_text(encoding="utf-8").splitlines()
    out = lines[:1]
    for text in lines[1:]:
        line = json.loads(text)
        if line["path"].endswith(match):
            changed = change(line)
            for one in [] if changed is None else changed if isinstance(changed, list) else [changed]:
                out.append(json.dumps(one, ensure_ascii=False))
        else:
            out.append(text)
    (folder / "record.jsonl").write_text("\n".join(out) + "\n", encoding="utf-8")


def set_keys(**keys):
    return lambda line: {**line, **{k.rstrip("_"): v for k, v in keys.items()}}


CASES = []


def case(*codes, subject="", formats=("zip", "tar", "folder"), seal=False, status=5, **what):
    """Registers a damage that must be told with these codes, one of them about `subject`."""
    def register(function):
        CASES.append((function, codes, subject, formats, seal, status, what))
        return function
    return register


# --- bytes of parts ---

@case("part-hash", "bytes", subject=PLOTS, formats=("zip", "tar"))
def one_bit_in_a_part(folder, format):
    path = folder / part_name(format)
    flip(path, path.read_bytes().index(b"Plot 7") + 2)


@case("bytes", subject=PLOTS, formats=("folder",))
def one_bit_in_a_file(folder, format):
    flip(folder / part_name(format) / PLOTS, 2)


@case("part-hash", formats=("zip", "tar"))
def one_bit_that_no_file_holds(folder, format):
    """In a time stamp: nothing but the part's own hash can tell."""
    path = folder / part_name(format)
    data = path.read_bytes()
    if format == "zip":
        flip(path, data.index(b"PK\x03\x04") + 10)
    else:
        flip(path, 512 * (len(data) // 512) - 1)  # padding behind the end


@case("part-hash", "part-broken", "missing", subject=part_name("tar"), formats=("tar",))
def a_cut_off_tar(folder, format):
    path = folder / part_name(format)
    path.write_bytes(path.read_bytes()[:2100])


@case("part-hash", "part-broken", "missing", subject=part_name("zip"), formats=("zip",))
def a_cut_off_zip(folder, format):
    path = folder / part_name(format)
    path.write_bytes(path.read_bytes()[:-300])


@case("size", subject=f"{PC}/mara/Documents/minutes/2019-03.txt", formats=("folder",))
def a_cut_off_file(folder, format):
    os.truncate(folder / part_name(format) / f"{PC}/mara/Documents/minutes/2019-03.txt", 1000)


@case("size", subject=PLOTS, formats=("folder",))
def a_longer_file(folder, format):
    with open(folder / part_name(format) / PLOTS, "ab") as file:
        file.write(b"more")


@case("part-missing", "missing", subject=part_name("zip"), formats=("zip",))
def a_missing_zip(folder, format):
    (folder / part_name(format)).unlink()


@case("record-contradicts", "missing", subject=PLOTS, formats=("folder",))
def a_missing_folder(folder, format):
    shutil.rmtree(folder / part_name(format))


@case("part-hash", "part-broken", subject=part_name("zip"), formats=("zip",))
def a_part_of_zeros(folder, format):
    path = folder / part_name(format)
    path.write_bytes(bytes(path.stat().st_size))


@case("part-hash", "part-broken", subject=part_name("zip"), formats=("zip",))
def an_empty_part(folder, format):
    (folder / part_name(format)).write_bytes(b"")


@case("part-extra", "extra", subject="another.zip", formats=("zip",))
def a_part_too_many(folder, format):
    with zipfile.ZipFile(folder / "another.zip", "w") as out:
        out.writestr(f"{PC}/mara/Documents/new.txt", b"new")


# --- members: parts written anew, with a fitting list of parts ---

def rewritten(change):
    """A case's function that changes a job's members but none of its lists."""
    def damage(folder, format):
        job = maker.Job(format, **damage.what)
        honest = {name: (folder / name).read_bytes() for name in (
            "manifest-sha256.txt", "SHA256SUMS", "record.jsonl", "account.json", "bag-info.txt")}
        change(job)
        shutil.rmtree(folder)
        job.write(folder)
        for name, data in honest.items():
            (folder / name).write_bytes(data)
        maker.seal(folder)
    damage.__name__ = change.__name__
    damage.what = {}
    return damage


@case("missing", "bag-rule", subject=PLOTS)
@rewritten
def a_member_removed(job):
    part = job.part("mara-documents")
    job.members[part] = [m for m in job.members[part] if m[0] != PLOTS]


@case("missing", subject=f"{PC}/mara/Documents/empty")
@rewritten
def an_empty_folder_removed(job):
    part = job.part("mara-documents")
    job.members[part] = [m for m in job.members[part] if not m[0].endswith("/empty")]


@case("extra", "bag-rule", subject=f"{PC}/mara/Documents/added.txt")
@rewritten
def a_member_added(job):
    job.members[job.part("mara-documents")].append((f"{PC}/mara/Documents/added.txt", b"?"))


@case("extra", subject=f"{PC}/mara/Games")
@rewritten
def a_folder_added(job):
    job.members[job.part("mara-documents")].append((f"{PC}/mara/Games", None))


@case("twice", subject=PLOTS, formats=("tar",))
@rewritten
def a_member_twice(job):
    members = job.members[job.part("mara-documents")]
    members += [m for m in members if m[0] == PLOTS]


@case("bytes", subject=SHED)
@rewritten
def two_members_swapped(job):
    part = job.part("mara-pictures")
    members = dict(job.members[part])
    other = f"{PC}/mara/Pictures/Äpfel 🍎.jpg"
    members[SHED], members[other] = members[other], members[SHED]
    job.members[part] = list(members.items())


@case("other-part", subject=PLOTS, formats=("zip", "tar"))
@rewritten
def a_member_in_another_part(job):
    documents, pictures = job.part("mara-documents"), job.part("mara-pictures")
    job.members[pictures] += [m for m in job.members[documents] if m[0] == PLOTS]
    job.members[documents] = [m for m in job.members[documents] if m[0] != PLOTS]


@case("size", subject=PLOTS)
@rewritten
def a_member_with_another_size(job):
    part = job.part("mara-documents")
    job.members[part] = [(n, c + b"!" if n == PLOTS else c) for n, c in job.members[part]]


@case("unsafe-name", subject="../outside.txt", formats=("zip", "tar"))
@rewritten
def a_member_that_climbs_out(job):
    job.members[job.part("mara-documents")].append(("../outside.txt", b"?"))


@case("unsafe-name", subject="data/../../outside.txt", formats=("zip", "tar"))
@rewritten
def a_member_that_climbs_out_later(job):
    job.members[job.part("mara-documents")].append(("data/../../outside.txt", b"?"))


@case("unsafe-name", subject="/etc/outside.txt", formats=("zip", "tar"))
@rewritten
def a_member_with_an_absolute_path(job):
    job.members[job.part("mara-documents")].append(("/etc/outside.txt", b"?"))


@case("bytes", subject=f"{PC}/mara/Pictures/hut.jpg", formats=("tar",), links=True)
@rewritten
def a_second_name_of_another_file(job):
    part = job.part("mara-pictures")
    job.members[part][-1] = (job.members[part][-1][0], ("link", f"{PC}/mara/Pictures/Äpfel 🍎.jpg"))


# --- pieces ---

@case("bytes", subject=f"{PC}/mara/Pictures/rain.iso", pieces=True, seal=True)
def another_hash_of_the_whole(folder, format):
    edit_record(folder, "rain.iso", set_keys(sha256="ab" * 32))


@case("size", subject=f"{PC}/mara/Pictures/rain.iso", pieces=True, seal=True)
def another_size_of_the_whole(folder, format):
    edit_record(folder, "rain.iso", set_keys(size=5001))


@case("part-missing", "missing", subject=f"{PC}/mara/Pictures/rain.iso.piece-02-of-03",
      formats=("zip", "tar"), pieces=True)
def a_piece_is_missing(folder, format):
    (folder / part_name(format, "mara-pictures-3")).unlink()


# --- the record ---

@case("tag-file-hash", subject="record.jsonl")
def an_edited_line_of_something_left(folder, format):
    edit(folder / "record.jsonl", b"notepad.exe", b"notebad.exe")


@case("record-contradicts", subject=PLOTS, seal=True)
def another_hash_in_the_record(folder, format):
    edit_record(folder, "plots.txt", set_keys(sha256="ab" * 32))


@case("size", "account-sum", subject=PLOTS, seal=True)
def another_size_in_the_record(folder, format):
    edit_record(folder, "plots.txt", set_keys(size=5))


@case("account-sum", "no-record-line", subject=PLOTS, seal=True)
def a_line_removed(folder, format):
    edit_record(folder, "plots.txt", lambda line: None)


@case("account-sum", "wrong-form", subject="record.jsonl", seal=True)
def a_line_twice(folder, format):
    edit_record(folder, "notepad.exe", lambda line: [line, line])


@case("no-proof", "missing", subject=f"{PC}/mara/Documents/ghost.txt", seal=True)
def a_line_without_a_member(folder, format):
    edit_record(folder, "plots.txt", lambda line: [line, {
        **line, "path": "\\ghost", "as": f"{PC}/mara/Documents/ghost.txt"}])


@case("wrong-form", subject="record.jsonl", seal=True)
def a_cut_off_record(folder, format):
    path = folder / "record.jsonl"
    path.write_bytes(path.read_bytes()[:-20])


@case("unsafe-name", subject="data/../../etc/passwd", seal=True)
def a_record_that_climbs_out(folder, format):
    edit_record(folder, "plots.txt", set_keys(as_="data/../../etc/passwd"))


@case("record-contradicts", subject=PLOTS, seal=True)
def a_part_that_lies_elsewhere(folder, format):
    edit_record(folder, "plots.txt", set_keys(part="../../etc/passwd"))


@case("unsafe-name", subject="record.jsonl", seal=True)
def a_job_name_that_climbs_out(folder, format):
    edit(folder / "record.jsonl", maker.NAME.encode(), b"../" + maker.NAME.encode())


@case("wrong-form", subject="record.jsonl", seal=True)
def an_unknown_state(folder, format):
    edit(folder / "record.jsonl", b'"absent"', b'"vanished"')


@case("wrong-form", subject="record.jsonl", seal=True)
def a_doubled_key(folder, format):
    edit(folder / "record.jsonl", b'"state": "absent"', b'"state": "absent", "state": "absent"')


@case("wrong-form", subject="record.jsonl", seal=True)
def a_deep_line(folder, format):
    edit(folder / "record.jsonl", b'"state": "absent"',
         b'"state": "absent", "x": ' + b"[" * 100000 + b"]" * 100000)


@case("wrong-form", subject="record.jsonl", seal=True)
def an_endless_line(folder, format):
    with open(folder / "record.jsonl", "ab") as file:
        file.write(b'{"volume":"' + b"x" * (9 << 20) + b'"}\n')


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def a_hole_outside_of_its_file(folder, format):
    edit_record(folder, "scratched.doc", set_keys(holes=[[512, 99999]]))


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def ranges_outside_of_their_file(folder, format):
    edit_record(folder, "huge.bin", set_keys(ranges=[[0, 100], [(1 << 40) - 499, 500]]))


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def ranges_of_another_length(folder, format):
    edit_record(folder, "huge.bin", set_keys(ranges=[[0, 100], [1 << 39, 499]]))


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def ranges_without_their_places(folder, format):
    edit_record(folder, "huge.bin", lambda line: {key: line[key] for key in line if key != "ranges"})


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def a_form_without_its_size(folder, format):
    edit_record(folder, "huge.bin", lambda line: {key: line[key] for key in line if key != "stored"})


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def a_form_that_is_no_text(folder, format):
    edit_record(folder, "gate.txt", set_keys(form=1))


@case("wrong-form", subject="record.jsonl", seal=True, losses=True)
def a_hole_behind_what_is_encrypted(folder, format):
    edit_record(folder, "gate.txt", set_keys(holes=[[512, 513]]))


@case("size", subject=f"{maker.PC}/mara/sealed/C/Users/mara/Documents/gate.txt.encrypted-data", seal=True,
      losses=True)
def another_size_of_what_is_sealed(folder, format):
    edit_record(folder, "gate.txt", set_keys(stored=1000, holes=[[512, 188]]))


@case("record-contradicts", subject=r"\Fotos\hut.jpg", seal=True, links=True)
def the_same_as_something_else(folder, format):
    edit_record(folder, "hut.jpg", set_keys(same_as=PLOTS))


# --- the proof ---

@case("proof-contradicts", "tag-file-hash", subject="manifest-sha256.txt")
def an_edited_manifest(folder, format):
    path = folder / "manifest-sha256.txt"
    line = path.read_text(encoding="utf-8").splitlines()[0]
    edit(path, line[:64].encode(), b"ab" * 32)


@case("proof-contradicts", "record-contradicts", "bytes", subject=PLOTS, seal=True)
def another_hash_in_the_manifest(folder, format):
    path = folder / "manifest-sha256.txt"
    line = path.read_text(encoding="utf-8").splitlines()[0]
    assert line.endswith("plots.txt")
    edit(path, line[:64].encode(), b"ab" * 32)


@case("proof-contradicts", subject=PLOTS, seal=True)
def a_line_missing_in_the_sums(folder, format):
    path = folder / "SHA256SUMS"
    path.write_text("".join(path.read_text(encoding="utf-8").splitlines(True)[1:]), encoding="utf-8")


@case("wrong-form", subject="manifest-sha256.txt", seal=True)
def a_manifest_that_is_none(folder, format):
    edit(folder / "manifest-sha256.txt", b"  ", b"")


@case("wrong-form", subject="manifest-sha256.txt", seal=True)
def a_percent_sign_that_is_not_encoded(folder, format):
    """RFC 8493, 2.1.3: a percent sign in a name must be encoded."""
    edit(folder / "manifest-sha256.txt", b"50%25 off", b"50% off")


@case("unsafe-name", subject="data/../../../etc/passwd", seal=True)
def a_manifest_that_climbs_out(folder, format):
    edit(folder / "manifest-sha256.txt", PLOTS.encode(), b"data/../../../etc/passwd")


@case("unsafe-name", subject="../../etc/passwd", seal=True)
def a_list_of_parts_that_climbs_out(folder, format):
    with open(folder / "PARTS.SHA256SUMS", "a", encoding="utf-8") as file:
        file.write(maker.sum_line("ab" * 32, "../../etc/passwd"))


@case("unsafe-name", subject="../../etc/passwd")
def a_tag_manifest_that_climbs_out(folder, format):
    with open(folder / "tagmanifest-sha256.txt", "a", encoding="utf-8") as file:
        file.write("ab" * 32 + "  ../../etc/passwd\n")


@case("bag-rule", subject="bagit.txt", seal=True)
def another_version_of_bags(folder, format):
    edit(folder / "bagit.txt", b"1.0", b"0.97")


@case("bag-rule", subject="bag-info.txt", seal=True)
def another_oxum(folder, format):
    edit(folder / "bag-info.txt", b"Payload-Oxum: ", b"Payload-Oxum: 1")


@case("bag-rule", subject="bag-info.txt", seal=True)
def no_oxum(folder, format):
    edit(folder / "bag-info.txt", b"Payload-Oxum", b"Payload-Sum")


@case("tag-file-hash", "proof-contradicts", subject="bag-info.txt")
def an_edited_tag_file(folder, format):
    edit(folder / "bag-info.txt", b"2026", b"2025")


@case("bag-rule", subject="manifest-sha256.txt")
def a_tag_manifest_without_the_manifest(folder, format):
    """RFC 8493, 2.2.1: it must list every payload manifest."""
    path = folder / "tagmanifest-sha256.txt"
    path.write_text("".join(line for line in path.read_text().splitlines(True)
                            if "manifest-sha256" not in line))


for name in ("record.jsonl", "where.json", "programs.json", "findings.json", "account.json",
             "SHA256SUMS", "PARTS.SHA256SUMS"):
    def not_listed(folder, format, name=name):
        path = folder / "tagmanifest-sha256.txt"
        path.write_text("".join(line for line in path.read_text().splitlines(True)
                                if not line.endswith(f"  {name}\n")))
    not_listed.__name__ = f"a tag manifest without {name}"
    case("bag-rule", subject=name,
         formats=("zip", "tar") if name.startswith("PARTS") else ("zip", "tar", "folder"))(not_listed)


@case("job-file-missing", subject=PROOF)
def no_proof_archive(folder, format):
    (folder / PROOF).unlink()


@case("part-broken", subject=PROOF)
def a_broken_proof_archive(folder, format):
    (folder / PROOF).write_bytes(b"PK\x03\x04 and nothing else")


@case("proof-contradicts", subject="SHA256SUMS")
def another_proof_archive(folder, format):
    with zipfile.ZipFile(folder / PROOF) as old:
        files = {name: old.read(name) for name in old.namelist()}
    files["SHA256SUMS"] += b"\n"
    with zipfile.ZipFile(folder / PROOF, "w") as out:
        for name, data in files.items():
            out.writestr(name, data)


for name in ("record.jsonl", "bagit.txt", "bag-info.txt", "manifest-sha256.txt",
             "tagmanifest-sha256.txt", "SHA256SUMS", "account.json", "findings.json"):
    def no_file(folder, format, name=name):
        (folder / name).unlink()
    no_file.__name__ = f"no {name}"
    case("job-file-missing", subject=name)(no_file)


# --- the account ---

@case("account-sum", subject="account.json", seal=True)
def another_count(folder, format):
    edit(folder / "account.json", b'"count": 1', b'"count": 2')


@case("account-sum", subject="account.json", seal=True)
def a_volume_that_does_not_add_up(folder, format):
    edit(folder / "account.json", b'"left": 200', b'"left": 201')


@case("wrong-form", subject="account.json", seal=True)
def an_account_that_is_none(folder, format):
    (folder / "account.json").write_bytes(b"{")


# --- unfinished, and harm ---

@case("unfinished", subject="journal")
def an_unfinished_job(folder, format):
    (folder / "journal").write_text("This job is not complete.\n")


@case("unfinished", subject="x.zip.unfinished")
def a_leftover(folder, format):
    (folder / "x.zip.unfinished").write_bytes(b"PK")


@case("unfinished", subject="salvage")
def a_salvage_store(folder, format):
    (folder / "salvage").mkdir()


def put_away(path):
    """Moves a file out of the job and leaves a symbolic link in its place."""
    away = path.parent.parent / f"away-{path.name}"
    if away.is_dir():
        shutil.rmtree(away)
    path.rename(away)
    path.symlink_to(away)


@case("not-a-plain-file", subject=part_name("zip"), formats=("zip",))
def a_part_behind_a_link(folder, format):
    put_away(folder / part_name(format))


@case("not-a-plain-file", subject=part_name("folder"), formats=("folder",))
def the_folder_behind_a_link(folder, format):
    put_away(folder / part_name(format))


@case("not-a-plain-file", subject=PLOTS, formats=("folder",))
def a_file_behind_a_link(folder, format):
    path = folder / part_name(format) / PLOTS
    path.rename(folder.parent / "away-plots.txt")
    path.symlink_to(folder.parent / "away-plots.txt")


@case("not-a-plain-file", subject="record.jsonl")
def the_record_behind_a_link(folder, format):
    put_away(folder / "record.jsonl")


@case("not-a-plain-file", subject="SHA256SUMS")
def a_pipe_in_place_of_a_list(folder, format):
    (folder / "SHA256SUMS").unlink()
    os.mkfifo(folder / "SHA256SUMS")


def try_case(work, number, function, codes, subject, format, seal, status, what):
    label = f"{function.__name__} ({format})"
    folder = work / f"{number}-{format}"
    if hasattr(function, "what"):
        function.what = what
    maker.Job(format, **what).write(folder)
    function(folder, format)
    if seal:
        maker.seal(folder)
    done = run("verify", "--json", folder, timeout=300)
    check(done.returncode == status, label, "status", done.returncode, done.stderr)
    try:
        facts = json.loads(done.stdout)
    except ValueError:
        check(False, label, "no JSON:", done.stdout[:300], done.stderr)
        return
    told = {d["code"] for d in facts["differences"]}
    check(not facts["proven"], label, "is proven")
    check(set(codes) <= told, label, "wanted", codes, "told", sorted(told))
    check(any(subject in d["subject"] and d["code"] in codes for d in facts["differences"]), label,
          "does not name", subject, json.dumps(facts["differences"], indent=1)[:1500])
    check("coldlift: th" in done.stderr, label, "no sentence:", done.stderr)
    human = run("verify", folder, timeout=300)
    check(max(map(len, (human.stderr).splitlines())) < 80, label, "is too wide")
    if folder.exists():
        shutil.rmtree(folder)


with work_folder() as work:
    for number, (function, codes, subject, formats, seal, status, what) in enumerate(CASES):
        for format in formats:
            try_case(pathlib.Path(work), number, function, codes, subject, format, seal, status, what)

    # A part that cannot be read is no difference but a failure of the medium.
    if os.geteuid() == 0 and shutil.which("setpriv"):
        import subprocess
        from _harness import COLDLIFT
        folder = pathlib.Path(work) / "locked"
        maker.Job("zip").write(folder)
        for path in [folder, *folder.iterdir()]:
            os.chown(path, 65534, 65534)
        pathlib.Path(work).chmod(0o755)
        program = pathlib.Path(work) / "coldlift"
        shutil.copy(COLDLIFT, program)
        (folder / part_name("zip")).chmod(0)
        done = subprocess.run(["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", program,
                               "verify", folder], capture_output=True, text=True, check=False)
        check(done.returncode == 4 and "Permission denied" in done.stderr, "no permission", done)
print(f"{sum(len(c[3]) for c in CASES)} damaged jobs")
finish()
