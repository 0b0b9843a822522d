#!/usr/bin/env python3
"""Makes a language that nobody speaks out of the English one, for tests: pseudo_language.py FROM TO

Every text of it stands in brackets that no other text has, its vowels carry marks, and it is longer, as
other languages are. So a word that was left in the code is seen (left_in_code), and a length that was
meant in bytes."""
import re
import sys

MARKS = str.maketrans("aeiouAEIOU", "áëîöûÁËÎÖÛ")


def pseudo(text):
    parts = re.split(r"(\{[a-z]+\}|\\n)", text)
    words = "".join(part if i % 2 else part.translate(MARKS) for i, part in enumerate(parts))
    lines = words.split("\\n")
    return "\\n".join(re.sub(r"^(- )?(.+)$", r"\1⟦\2 ñ⟧", line) for line in lines)


def left_in_code(text, same):
    """Words of three letters or more outside of all brackets, without those that are `same` everywhere."""
    depth, kept = 0, []
    for character in text:
        depth += (character == "⟦") - (character == "⟧")
        if depth == 0 and character not in "⟦⟧":
            kept.append(character)
    if depth != 0:
        raise AssertionError(f"brackets of: {text}")
    return [word for word in re.findall(r"[^\W\d_]{3,}\w*", "".join(kept)) if word not in same]


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        lines = file.read().split("\n")
    with open(sys.argv[2], "w", encoding="utf-8") as file:
        for line in lines:
            key, equals, text = line.partition(" = ")
            file.write((line if line.startswith("#") or not equals else f"{key} = {pseudo(text)}") + "\n")


if __name__ == "__main__":
    main()
