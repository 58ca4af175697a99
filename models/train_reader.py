#!/usr/bin/env python3
"""Trains the clause reader: a small English encoder that says of each word of a memo what part it plays.

    train_reader.py prepare ENCODER.npz [--large]
        an encoder of encoders.py with a vocabulary of 9,600 pieces
    train_reader.py train DATA.json ENCODER.npz OUT.npz
        [--hold SPEAKER,SPEAKER] [--epochs N] [--seed N] [--teachers A.npz,B.npz]
    train_reader.py export OUT.npz FOLDER
        reader.onnx (8-bit weights) and vocabulary.txt

DATA.json comes from dataset.py. With --hold those speakers are left out and measured. On a processor alone a
training takes some tens of minutes, on a graphics card a minute; the same seed on the same machine gives the
same weights.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

import encoders  # noqa: E402

from jobnotes.language import labels  # noqa: E402
from jobnotes.language.decode import log_softmax, viterbi  # noqa: E402
from jobnotes.language.word_pieces import WordPieces  # noqa: E402

GROUPS: dict[str, list[str]] = {}
OUTCOMES = ["none", "complete", "temporary", "awaiting_parts", "unresolved"]
STATES = ["none", "in_service", "out_of_service"]


def groups() -> dict[str, list[str]]:
    return {k: list(v) for k, v in labels.GROUPS.items()}


# -- training ------------------------------------------------------------------------------------------------


def encode(row: dict[str, Any], pieces: WordPieces, shake: random.Random | None) -> dict[str, Any]:
    """Ids and labels of one memo, at most 510 pieces. With `shake` some of what a recogniser or a speaker may
    lose is lost."""
    if shake is not None:
        row = unknown_names(row, shake)
    words, marks, labels = row["words"], row["marks"], row["labels"]
    ids, places = [pieces.ids["[CLS]"]], []
    no_commas = shake is not None and shake.random() < 0.15
    no_stops = shake is not None and shake.random() < 0.08
    mask_rate = shake.choice([0.0, 0.03, 0.08]) if shake else 0.0
    kept: list[int] = []
    for i, (word, mark) in enumerate(zip(words, marks, strict=True)):
        piece = pieces.word(word, mark)
        if shake is not None:
            r = shake.random()
            if word in (",", ";") and (no_commas or r < 0.08):
                continue
            if word in (".", "?", "!") and (no_stops or r < 0.03):
                continue
            if mark and word in ("FLEET", "PART", "SERIAL", "MODEL", "ORDER") and r < 0.2:
                piece = pieces.word("CODE", True)
            elif not mark and word.isalpha() and shake.random() < mask_rate:
                piece = [pieces.ids["[MASK]"]]
        if len(ids) + len(piece) > 511:
            break
        places.append(len(ids))
        ids.extend(piece)
        kept.append(i)
    ids.append(pieces.ids["[SEP]"])
    out: dict[str, Any] = {"ids": ids, "places": places, "labels": {}, "kept": kept}
    for group, names in GROUPS.items():
        out["labels"][group] = fix_bio([labels[group][i] for i in kept], names)
    index = {i: n for n, i in enumerate(kept)}
    out["jobs"] = []
    for job in row["jobs"]:
        inside = [index[i] for i in range(job["first"], job["last"] + 1) if i in index]
        if inside:
            out["jobs"].append(
                (
                    inside[0],
                    inside[-1],
                    OUTCOMES.index(job["outcome"]),
                    STATES.index(job["state"]),
                    job["job"],
                )
            )
    return out


def unknown_names(row: dict[str, Any], shake: random.Random) -> dict[str, Any]:
    """The memo with some names as plain words, as they stand where no register knows them."""
    rate = shake.choice([0.0, 0.0, 0.25, 0.6])
    if not rate:
        return row
    words: list[str] = []
    marks: list[bool] = []
    came_from: list[int] = []
    for i, (word, mark) in enumerate(zip(row["words"], row["marks"], strict=True)):
        raw = row["raw"].get(str(i))
        if mark and raw and shake.random() < rate:
            words.extend(raw)
            marks.extend([False] * len(raw))
            came_from.extend([i] * len(raw))
        else:
            words.append(word)
            marks.append(mark)
            came_from.append(i)
    labels = {}
    for group, given in row["labels"].items():
        out = []
        for n, i in enumerate(came_from):
            label = given[i]
            if label.startswith("B-") and n and came_from[n - 1] == i:
                label = "I-job" if group == "job" else "I-" + label[2:]
            out.append(label)
        labels[group] = out
    first = {i: n for n, i in reversed(list(enumerate(came_from)))}
    last = {i: n for n, i in enumerate(came_from)}
    jobs = [{**j, "first": first[j["first"]], "last": last[j["last"]]} for j in row["jobs"]]
    return {**row, "words": words, "marks": marks, "labels": labels, "jobs": jobs}


def fix_bio(labels: list[str], names: list[str]) -> list[int]:
    """Label numbers; a begin that was lost moves to the next word of its span."""
    out = []
    before = "O"
    for label in labels:
        if label.startswith("I-") and label != "I-job" and before[2:] != label[2:]:
            label = "B-" + label[2:]
        out.append(names.index(label))
        before = label
    return out


class Memos:
    """The training memos as a data set: each item is shaken anew, by a seed of epoch and place."""

    def __init__(self, rows: list[dict[str, Any]], pieces: WordPieces, seed: int) -> None:
        self.rows, self.pieces, self.seed, self.epoch = rows, pieces, seed, 0

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, key: tuple[int, int]) -> dict[str, Any]:
        epoch, place = key
        return encode(
            self.rows[place], self.pieces, random.Random(self.seed * 1_000_003 + epoch * 10_007 + place)
        )


def collate(batch: list[dict[str, Any]]) -> dict[str, Any]:
    """A batch as tensors."""
    import torch

    longest = max(len(b["ids"]) for b in batch)
    ids = torch.zeros(len(batch), longest, dtype=torch.long)
    mask = torch.zeros(len(batch), longest)
    for n, b in enumerate(batch):
        ids[n, : len(b["ids"])] = torch.tensor(b["ids"])
        mask[n, : len(b["ids"])] = 1
    flat = torch.cat([n * longest + torch.tensor(b["places"], dtype=torch.long) for n, b in enumerate(batch)])
    wanted = torch.tensor([[x for b in batch for x in b["labels"][g]] for g in GROUPS])
    start, owner, targets = 0, torch.full((len(flat),), -1), []
    for b in batch:
        seen: dict[str, int] = {}
        for first, last, outcome, state, job in b["jobs"]:
            if job not in seen:
                seen[job] = len(targets)
                targets.append((outcome, state))
            owner[start + first : start + last + 1] = seen[job]
        start += len(b["places"])
    return {"ids": ids, "mask": mask, "flat": flat, "wanted": wanted, "owner": owner,
            "targets": torch.tensor(targets, dtype=torch.long).reshape(-1, 2)}  # fmt: skip


def pooled_by_job(scores: Any, owner: Any, jobs: int) -> Any:
    """(jobs, labels): the log of the summed exponentials over each job's words."""
    import torch

    held = owner >= 0
    top = torch.full((jobs, scores.shape[1]), -1e4, device=scores.device)
    place = owner[held][:, None].expand(-1, scores.shape[1])
    top = top.scatter_reduce(0, place, scores[held].detach(), "amax")
    summed = torch.zeros_like(top).scatter_add(0, place, (scores[held] - top[owner[held]]).exp())
    return summed.clamp_min(1e-9).log() + top


def loss_of(model: Any, b: dict[str, Any], smooth: float, teachers: list[Any]) -> Any:
    """Cross entropy by group; with teachers, half of it against the mean of what they say."""
    import torch
    from torch.nn.functional import cross_entropy, kl_div

    logits, job_logits = model(b["ids"], b["mask"])
    flat = logits.reshape(-1, logits.shape[-1])[b["flat"]].float()
    jobs = job_logits.reshape(-1, job_logits.shape[-1])[b["flat"]].float()
    said = []
    with torch.no_grad():
        for teacher in teachers:
            out, _ = teacher(b["ids"], b["mask"])
            said.append(out.reshape(-1, out.shape[-1])[b["flat"]].float())
    total = torch.zeros((), device=flat.device)
    start = 0
    for n, (group, names) in enumerate(GROUPS.items()):
        part = flat[:, start : start + len(names)]
        end = start + len(names)
        wanted = b["wanted"][n]
        if group.startswith("keep_"):
            inside = b["wanted"][list(GROUPS).index(group.removeprefix("keep_"))] > 0
            if inside.any():
                total = total + 0.5 * cross_entropy(part[inside], wanted[inside])
        else:
            hard = cross_entropy(part, wanted, label_smoothing=0.0 if teachers else smooth)
            total = total + WEIGHT.get(group, 1.0) * (hard * (0.4 if teachers else 1.0))
        if said:
            mean = torch.stack([o[:, start:end].softmax(-1) for o in said]).mean(0)
            total = total + 0.8 * WEIGHT.get(group, 1.0) * kl_div(
                part.log_softmax(-1), mean, reduction="batchmean"
            )
        start = end
    count = len(b["targets"])
    if count:
        pooled = pooled_by_job(jobs, b["owner"], count)
        cut = len(OUTCOMES)
        total = total + 0.3 * cross_entropy(pooled[:, :cut], b["targets"][:, 0])
        total = total + 0.3 * cross_entropy(pooled[:, cut:], b["targets"][:, 1])
    return total


WEIGHT = {"job": 2.0, "value": 2.0, "part": 2.0}


def train(args: argparse.Namespace) -> None:
    import torch

    global GROUPS
    GROUPS = groups()
    torch.manual_seed(args.seed)
    np.random.seed(args.seed)
    shake = random.Random(args.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    encoder = encoders.read(args.encoder)
    pieces = WordPieces([str(t) for t in encoder["vocabulary"]])
    rows = json.loads(args.data.read_text())
    held = set(args.hold.split(",")) if args.hold else set()
    training = [r for r in rows if r["speaker"] not in held]
    measured = [r for r in rows if r["speaker"] in held]
    model = encoders.build(encoder, width()).to(device)
    heads = [p for n, p in model.named_parameters() if "head" in n]
    body = [p for n, p in model.named_parameters() if "head" not in n]
    optimiser = torch.optim.AdamW(
        [{"params": body, "lr": args.rate}, {"params": heads, "lr": 1e-3}], weight_decay=0.01
    )
    steps = args.epochs * math.ceil(len(training) / args.batch)
    schedule = torch.optim.lr_scheduler.LambdaLR(
        optimiser, lambda s: min(1.0, s / (0.08 * steps)) * max(0.02, 1 - s / steps)
    )
    teachers = [trained(Path(file)).to(device).eval() for file in args.teachers.split(",") if file]
    memos = Memos(training, pieces, args.seed)
    per_epoch = math.ceil(len(training) / args.batch)
    order: list[list[tuple[int, int]]] = []
    for epoch in range(args.epochs):
        places = list(range(len(training)))
        shake.shuffle(places)
        order += [
            [(epoch, p) for p in places[at : at + args.batch]] for at in range(0, len(places), args.batch)
        ]
    loader = torch.utils.data.DataLoader(
        memos, batch_sampler=order, collate_fn=collate, num_workers=args.workers
    )
    average, count, sum_of = None, 0, 0.0
    model.train()
    for step, batch in enumerate(loader):
        batch = {k: v.to(device, non_blocking=True) for k, v in batch.items()}
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            loss = loss_of(model, batch, 0.03, teachers)
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        schedule.step()
        sum_of += float(loss.detach())
        epoch, last = step // per_epoch, step % per_epoch == per_epoch - 1
        if (
            last and epoch >= args.epochs * 3 // 4
        ):  # the mean of the last epochs' weights reads steadier than the last
            state = {k: v.detach().float().clone() for k, v in model.state_dict().items()}
            average = state if average is None else {k: average[k] + state[k] for k in state}
            count += 1
        if last and (epoch % 10 == 9 or epoch == args.epochs - 1):
            print(
                epoch + 1,
                "loss",
                round(sum_of / per_epoch / (10 if epoch % 10 == 9 else epoch % 10 + 1), 3),
                flush=True,
            )
            sum_of = 0.0
    if average is not None:
        model.load_state_dict({k: v / count for k, v in average.items()})
    if measured:
        measure(model, measured, pieces, device)
    arrays = {
        k: v.detach().cpu().numpy().astype(np.float32 if args.full else np.float16)
        for k, v in model.state_dict().items()
    }
    np.savez(args.out, vocabulary=encoder["vocabulary"], labels=np.array(json.dumps(GROUPS)), **arrays)


def width() -> int:
    return sum(len(names) for names in GROUPS.values())


def trained(file: Path) -> Any:
    """A trained reader from its file."""
    import torch

    given = dict(np.load(file))
    state = {k: v.astype(np.float32) for k, v in given.items() if k not in ("vocabulary", "labels")}
    model = encoders.build(encoders.blank(given["vocabulary"], state), len(state["head.bias"]))
    model.load_state_dict({k: torch.tensor(v) for k, v in state.items()})
    return model


def measure(model: Any, rows: list[dict[str, Any]], pieces: WordPieces, device: str) -> None:
    """Span F1 by label (same words to within one at either end), and the jobs' outcome and state."""
    import torch

    model.eval()
    right: dict[str, list[int]] = {}
    good = {"outcome": 0, "state": 0}
    jobs = 0
    with torch.no_grad():
        for row in rows:
            item = encode(row, pieces, None)
            ids = torch.tensor([item["ids"]], device=device)
            logits, job_logits = model(ids, torch.ones_like(ids, dtype=torch.float))
            flat = logits[0, item["places"]].float().cpu().numpy()
            start = 0
            for group, names in GROUPS.items():
                part = flat[:, start : start + len(names)]
                start += len(names)
                if group.startswith("keep_"):
                    continue
                guess = viterbi(log_softmax(part), names)
                wanted = spans_of([names[i] for i in item["labels"][group]])
                got = spans_of([names[i] for i in guess])
                for label in {s[2] for s in wanted + got}:
                    tally = right.setdefault(f"{group}:{label}", [0, 0, 0])
                    w, g = [s for s in wanted if s[2] == label], [s for s in got if s[2] == label]
                    tally[1] += len(w)
                    tally[2] += len(g)
                    tally[0] += sum(any(overlap(a, b) for b in g) for a in w)
            for first, last, outcome, state, _ in item["jobs"]:
                pooled = (
                    torch.logsumexp(job_logits[0, item["places"][first : last + 1]].float(), 0).cpu().numpy()
                )
                good["outcome"] += int(pooled[: len(OUTCOMES)].argmax() == outcome)
                good["state"] += int(pooled[len(OUTCOMES) :].argmax() == state)
                jobs += 1
    for label, (hit, want, got) in sorted(right.items()):
        p, r = hit / max(1, got), hit / max(1, want)
        print(f"{label:22} {want:4} F1 {2 * p * r / max(1e-9, p + r):.3f}  P {p:.3f} R {r:.3f}")
    print(
        "outcome",
        round(good["outcome"] / max(1, jobs), 3),
        "state",
        round(good["state"] / max(1, jobs), 3),
        "of",
        jobs,
    )


def overlap(a: tuple[int, int, str], b: tuple[int, int, str]) -> bool:
    both = min(a[1], b[1]) - max(a[0], b[0]) + 1
    return both > 0 and both / (max(a[1], b[1]) - min(a[0], b[0]) + 1) >= 0.5


def spans_of(labels: list[str]) -> list[tuple[int, int, str]]:
    out: list[tuple[int, int, str]] = []
    for i, label in enumerate([*labels, "O"]):
        if label[0] == "I" and out and out[-1][1] == i - 1 and out[-1][2] == label[2:]:
            out[-1] = (out[-1][0], i, label[2:])
        elif label[0] in "BI" and label != "I-job":
            out.append((i, i, label[2:]))
    return out


# -- export --------------------------------------------------------------------------------------------------


def export(source: Path, folder: Path) -> None:
    import onnx
    import torch
    from onnxruntime.quantization import QuantType, quantize_dynamic

    arrays = dict(np.load(source))
    model = trained(source)
    model.eval()
    folder.mkdir(parents=True, exist_ok=True)
    whole = folder / "whole.onnx"
    ids = torch.ones(1, 16, dtype=torch.long)
    axes = {
        "ids": {0: "b", 1: "n"},
        "mask": {0: "b", 1: "n"},
        "labels": {0: "b", 1: "n"},
        "jobs": {0: "b", 1: "n"},
    }
    torch.onnx.export(
        model,
        (ids, torch.ones(1, 16)),
        str(whole),
        input_names=["ids", "mask"],
        output_names=["labels", "jobs"],
        dynamic_axes=axes,
        opset_version=17,
        dynamo=False,
    )
    quantize_dynamic(
        str(whole),
        str(folder / "reader.onnx"),
        weight_type=QuantType.QInt8,
        per_channel=True,
        op_types_to_quantize=["MatMul", "Gather"],
        extra_options={"MatMulConstBOnly": True},
    )
    whole.unlink()
    onnx.checker.check_model(str(folder / "reader.onnx"))
    (folder / "vocabulary.txt").write_text("\n".join(str(t) for t in arrays["vocabulary"]) + "\n")
    print("reader.onnx", round((folder / "reader.onnx").stat().st_size / 1e6, 2), "MB")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("prepare")
    one.add_argument("out", type=Path)
    one.add_argument("--large", action="store_true", help="the encoder that only teaches")
    two = commands.add_parser("train")
    two.add_argument("data", type=Path)
    two.add_argument("encoder", type=Path)
    two.add_argument("out", type=Path)
    two.add_argument("--hold", default="")
    two.add_argument("--epochs", type=int, default=30)
    two.add_argument("--seed", type=int, default=1)
    two.add_argument("--rate", type=float, default=1e-4)
    two.add_argument("--batch", type=int, default=12)
    two.add_argument("--workers", type=int, default=2)
    two.add_argument(
        "--teachers",
        default="",
        help="weights of earlier trainings, parted by commas: learn from what they say too",
    )
    two.add_argument("--full", action="store_true", help="keep 32-bit weights")
    three = commands.add_parser("export")
    three.add_argument("source", type=Path)
    three.add_argument("folder", type=Path)
    args = parser.parse_args()
    if args.command == "prepare":
        encoders.prepare(args.out, args.large)
    elif args.command == "train":
        train(args)
    else:
        export(args.source, args.folder)


if __name__ == "__main__":
    main()
