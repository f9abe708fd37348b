"""Every place of a file where one deliberate mistake can be made, found in the syntax tree of tree-sitter-rust.

A mistake is an *edit* (a range of bytes and what replaces it) inside the smallest piece of code that can stand behind a
switch: an expression, or the block of a function. Constants, patterns, types, attributes, macros and unit tests are left out.
"""
import hashlib
import re
from dataclasses import dataclass

import tree_sitter_rust
from tree_sitter import Language, Parser

from areas import OPPOSITES

PARSER = Parser(Language(tree_sitter_rust.language()))

COMPARISONS = {"<": ">=", ">=": "<", ">": "<=", "<=": ">", "==": "!=", "!=": "=="}
ARITHMETIC = {"+": "-", "-": "+", "*": "/", "/": "*"}
LOGIC = {"&&": "||", "||": "&&"}
SWAPPED = {"+=": "-=", "-=": "+=", "*=": "/=", "/=": "*="}
OPPOSITE = {a: b for pair in OPPOSITES for a, b in (pair, pair[::-1])}

INTEGER = re.compile(r"([0-9][0-9_]*)((?:[iu](?:8|16|32|64|128|size)|f32|f64)?)$")
FLOAT = re.compile(r"([0-9][0-9_]*(?:\.[0-9_]*)?(?:[eE][+-]?[0-9]+)?)((?:_?f32|_?f64)?)$")

# Nothing below these is ever changed.
CLOSED = {
    "attribute_item", "inner_attribute_item", "macro_invocation", "macro_definition", "const_item", "static_item", "const_block",
    "enum_item", "type_item", "type_arguments", "type_parameters", "where_clause", "parameters", "closure_parameters",
    "use_declaration", "extern_crate_declaration", "struct_item", "line_comment", "block_comment", "string_literal",
    "raw_string_literal", "char_literal", "lifetime", "trait_bounds",
}
# Kinds of nodes that are an expression wherever they stand outside patterns, types and macros.
EXPRESSIONS = {
    "binary_expression", "unary_expression", "call_expression", "index_expression", "field_expression", "integer_literal",
    "float_literal", "boolean_literal", "array_expression", "tuple_expression", "parenthesized_expression",
    "compound_assignment_expr", "assignment_expression", "if_expression", "match_expression", "type_cast_expression",
    "struct_expression", "reference_expression", "try_expression", "scoped_identifier", "identifier", "string_literal",
    "return_expression", "range_expression", "closure_expression", "macro_invocation",
}


@dataclass(eq=False)
class Mistake:
    """One deliberate mistake."""

    file: str
    operator: str
    # What is put behind the switch: bytes of the file. Empty for what is put in front of a function's first line.
    wrap: tuple[int, int]
    # "expression", "block" or "start"
    shape: str
    # Bytes that are replaced, and by what.
    edit: tuple[int, int, str]
    # The lines the edit touches, before and after, without indentation.
    before: str
    after: str
    line: int
    name: str | None = None
    number: int = 0

    @property
    def key(self):
        """What the mistake is known by, whatever the line number."""
        return (self.file, self.before, self.after)


def chance(*parts):
    """A number that depends on nothing but the parts."""
    return int.from_bytes(hashlib.sha256("\0".join(map(str, parts)).encode()).digest()[:8], "big")


def shown(text, edit):
    """Number of the line, the touched lines as they are and as the edit makes them, each as one line."""
    start, end, new = edit
    first = text.rfind(b"\n", 0, start) + 1
    last = text.find(b"\n", end)
    last = len(text) if last < 0 else last
    # a chain says little without what it hangs on, and a word alone says nothing
    while first > 0 and (text[first:last].lstrip()[:1] in b".+-*/&|" or len(text[first:last].strip()) < 10):
        first = text.rfind(b"\n", 0, first - 1) + 1
    flat = lambda piece: " ".join(piece.decode().split())
    return text.count(b"\n", 0, start) + 1, flat(text[first:last]), flat(text[first:start] + new.encode() + text[end:last])


def mistake(file, text, operator, node, edit, shape="expression"):
    line, before, after = shown(text, edit)
    return Mistake(file, operator, (node.start_byte, node.end_byte), shape, edit, before, after, line)


def candidates(file, text):
    """All mistakes of one file, in the order of the text."""
    found = []
    visit(PARSER.parse(text).root_node, file, text, found)
    return found


def is_test(node, text):
    """Whether an attribute before an item makes it a unit test or a helper of one."""
    before = node.prev_named_sibling
    while before is not None and before.type in ("attribute_item", "line_comment", "block_comment"):
        if before.type == "attribute_item" and re.search(rb"\bcfg\(test\)|\[test\]", text[before.start_byte:before.end_byte]):
            return True
        before = before.prev_named_sibling
    return False


def visit(node, file, text, found):
    kind = node.type
    if kind in CLOSED or (kind.endswith("_type") and kind != "type_cast_expression") or is_test(node, text):
        return
    if kind == "match_pattern":
        guard = node.child_by_field_name("condition")
        if guard is not None:
            visit(guard, file, text, found)
        return
    if kind.endswith("_pattern"):
        return
    if kind == "function_item":
        if any(c.type == "function_modifiers" and b"const" in text[c.start_byte:c.end_byte] for c in node.children):
            return
        found.extend(early_return(node, file, text))
    for operator, edit, whole in edits(node, text):
        found.append(mistake(file, text, operator, whole, edit))
    for index, child in enumerate(node.children):
        name = node.field_name_for_child(index)
        pattern = name == "pattern" and child.type != "match_pattern"
        if pattern or name in ("type", "return_type", "parameters") or (kind == "array_expression" and name == "length"):
            continue
        if child.is_named:
            visit(child, file, text, found)


def edits(node, text):
    """(operator, edit, node behind the switch) for every mistake at this very node."""
    word = lambda n: text[n.start_byte:n.end_byte].decode()
    replace = lambda n, new: (n.start_byte, n.end_byte, new)
    kind = node.type
    if kind == "binary_expression":
        sign = node.child_by_field_name("operator")
        for name, table in (("comparison", COMPARISONS), ("arithmetic", ARITHMETIC), ("logic", LOGIC)):
            if word(sign) in table:
                yield name, replace(sign, table[word(sign)]), node
    elif kind == "compound_assignment_expr":
        sign = node.child_by_field_name("operator")
        if word(sign) in SWAPPED:
            yield "arithmetic", replace(sign, SWAPPED[word(sign)]), node
    elif kind == "unary_expression" and word(node.children[0]) in "-!":
        name = "minus dropped" if word(node.children[0]) == "-" else "negation"
        yield name, (node.start_byte, node.children[1].start_byte, ""), node
    elif kind == "boolean_literal":
        yield "truth", replace(node, "false" if word(node) == "true" else "true"), node
    elif kind in ("integer_literal", "float_literal"):
        changed = another_number(node, text)
        if changed is not None:
            yield *changed, node.parent if is_part(node) else node
    elif kind in ("if_expression", "while_expression"):
        condition = node.child_by_field_name("condition")
        if condition.type in ("call_expression", "identifier", "field_expression", "parenthesized_expression", "macro_invocation") \
                and not has_opposite(condition, text):
            yield "negation", replace(condition, f"!{word(condition)}"), condition
    elif kind == "call_expression":
        last = has_opposite(node, text)
        if last is not None:
            yield "opposite", replace(last, OPPOSITE[word(last)]), node
    elif kind == "scoped_identifier" and not called(node):
        last = node.child_by_field_name("name")
        if word(last) in OPPOSITE:
            yield "opposite", replace(last, OPPOSITE[word(last)]), node
    elif kind == "array_expression" and node.child_by_field_name("length") is None:
        parts = [child for child in node.named_children if "comment" not in child.type]
        if len(parts) == 2 and word(parts[0]) != word(parts[1]):
            new = f"[{word(parts[1])}, {word(parts[0])}]"
            yield "pair swapped", replace(node, new), node


def has_opposite(node, text):
    """The name of what a call calls, where there is a name for the opposite."""
    callee = node.child_by_field_name("function") if node.type == "call_expression" else None
    last = callee and callee.child_by_field_name("field" if callee.type == "field_expression" else "name")
    return last if last and text[last.start_byte:last.end_byte].decode() in OPPOSITE else None


def called(node):
    """Whether a path is what a call calls, or a part of a longer path."""
    above = node.parent
    if above.type == "scoped_identifier":
        return True
    return above.type == "call_expression" and above.child_by_field_name("function") == node


def is_part(node):
    """Whether a number says which part of a tuple is meant."""
    return node.parent.type == "field_expression" and node.parent.child_by_field_name("field") == node


def another_number(node, text):
    """A literal changed: 0 and 1 for each other, an index by one, others doubled or one more, as the text's own chance has it."""
    literal = text[node.start_byte:node.end_byte].decode()
    found = (INTEGER if node.type == "integer_literal" else FLOAT).match(literal)
    if found is None:
        return None
    digits, suffix = found[1].replace("_", ""), found[2]
    whole = node.type == "integer_literal" and not suffix.startswith("f")
    value = int(digits) if whole else float(digits)
    if node.parent.type == "index_expression" or is_part(node):
        new, name = (1 if value == 0 else value - 1), "index"
    elif value in (0, 1):
        new, name = 1 - value, "number"
    else:
        doubled = chance(text[max(0, node.start_byte - 60):node.end_byte + 60]) % 2
        new, name = (2 * value if doubled else value + 1), "number"
    written = f"{new}{suffix}" if whole or suffix.strip("_") else repr(float(new))
    return name, (node.start_byte, node.end_byte, written)


def early_return(node, file, text):
    """A function that gives up before its first line."""
    body = node.child_by_field_name("body")
    if body is None or not body.named_children:
        return
    kind = node.child_by_field_name("return_type")
    kind = "" if kind is None else " ".join(text[kind.start_byte:kind.end_byte].decode().split())
    made = {"": "return;", "bool": "return true;"}.get(kind)
    if kind.startswith("Option<"):
        made = "return None;"
    elif kind.startswith("Vec<"):
        made = "return Vec::new();"
    elif kind.startswith("Result<()"):
        made = "return Ok(());"
    if made is None:
        return
    name = node.child_by_field_name("name")
    inside = body.start_byte + 1
    what = f"fn {text[name.start_byte:name.end_byte].decode()}"
    line = text.count(b"\n", 0, name.start_byte) + 1
    yield Mistake(file, "early return", (inside, inside), "start", (inside, inside, f" {made}"), what, f"{what} {{ {made}", line)
