"""Many mutants in one build: each stands in the source as a switch, `if crate::mutated(17) { mutant } else { as it was }`.

Which mutants there are comes from `cargo mutants --list --json` (cargo-mutants, MIT licence); this file only puts them into a copy of
the source. A mutant of an operator wraps the expression it belongs to, one of a function returns before its body begins, one
of a match arm becomes its guard. What would not compile in that form is left out and counted.
"""

from dataclasses import dataclass
from pathlib import Path

import tree_sitter
import tree_sitter_rust

PARSER = tree_sitter.Parser(tree_sitter.Language(tree_sitter_rust.language()))

CHOOSER = """
mod switches {
    use std::io::Write as _;
    use std::sync::atomic::{AtomicBool, AtomicU32, Ordering::Relaxed};
    use std::sync::{LazyLock, Mutex};

    fn named<T>(name: &str, read: impl FnOnce(String) -> Option<T>) -> Option<T> {
        std::env::var(name).ok().and_then(read)
    }
    fn chosen() -> u32 {
        named("MUTANT", |text| text.parse().ok()).unwrap_or(u32::MAX)
    }
    fn record() -> Option<std::fs::File> {
        named("MUTANTS_MET", |path| std::fs::OpenOptions::new().create(true).append(true).open(path).ok())
    }
    static CHOSEN: LazyLock<AtomicU32> = LazyLock::new(|| AtomicU32::new(chosen()));
    static RECORD: LazyLock<Mutex<Option<std::fs::File>>> = LazyLock::new(|| Mutex::new(record()));
    static MET: [AtomicBool; SWITCHES] = [const { AtomicBool::new(false) }; SWITCHES];

    /// Whether this mutant is the one that `MUTANT` names; the first meeting goes into the file that `MUTANTS_MET` names.
    #[inline]
    pub fn mutated(number: u32) -> bool {
        if !MET[number as usize].load(Relaxed) {
            meet(number);
        }
        CHOSEN.load(Relaxed) == number
    }
    #[cold]
    fn meet(number: u32) {
        if MET[number as usize].swap(true, Relaxed) {
            return;
        }
        if let Ok(file) = RECORD.lock()
            && let Some(mut file) = file.as_ref()
        {
            let _ = file.write_all(format!("{number}\\n").as_bytes());
        }
    }
    /// Looks at the environment again and forgets what was met.
    #[unsafe(no_mangle)]
    pub extern "C" fn mutants_begin() {
        CHOSEN.store(chosen(), Relaxed);
        if let Ok(mut file) = RECORD.lock() {
            *file = record();
        }
        for met in &MET {
            met.store(false, Relaxed);
        }
    }
}
pub use switches::mutated;
"""


@dataclass(frozen=True)
class Mutant:
    number: int
    file: str
    genre: str
    name: str
    replacement: str
    begin: tuple[int, int]
    end: tuple[int, int]


def mutant(number: int, listed: dict) -> Mutant:
    """One entry of cargo-mutants' list; its lines and columns begin at 1 and columns count characters."""
    begin, end = listed["span"]["start"], listed["span"]["end"]
    return Mutant(
        number, listed["file"], listed["genre"], listed["name"], listed["replacement"],
        (begin["line"] - 1, begin["column"] - 1), (end["line"] - 1, end["column"] - 1),
    )


class NoPlace(Exception):
    """The mutant has no form as a switch."""


def byte_of(lines: list[str], starts: list[int], at: tuple[int, int]) -> int:
    return starts[at[0]] + len(lines[at[0]][: at[1]].encode())


def up_to(node: tree_sitter.Node | None, kinds: tuple[str, ...]) -> tree_sitter.Node:
    while node is not None and node.type not in kinds:
        node = node.parent
    if node is None:
        raise NoPlace
    return node


def in_constant(node: tree_sitter.Node | None) -> bool:
    """A constant is computed by the compiler, which knows of no switches."""
    while node is not None:
        if node.type in ("const_item", "static_item"):
            return True
        if node.type == "function_item":
            words = next((child for child in node.children if child.type == "function_modifiers"), None)
            return words is not None and b"const" in (words.text or b"")
        node = node.parent
    return False


def target(root: tree_sitter.Node, found: Mutant, begin: int, end: int) -> tree_sitter.Node:
    node = root.descendant_for_byte_range(begin, end)
    if in_constant(node):
        raise NoPlace
    match found.genre:
        case "BinaryOperator":
            node = up_to(node, ("binary_expression", "compound_assignment_expr"))
            # a chain of `let` in a condition is no expression
            if any(child.type in ("let_condition", "let_chain") for child in node.children):
                raise NoPlace
        case "UnaryOperator":
            node = up_to(node, ("unary_expression",))
        case "FnValue":
            node = up_to(node, ("function_item",)).child_by_field_name("body")
        case "MatchArm":
            node = up_to(node, ("match_arm",)).child_by_field_name("pattern")
        case "MatchArmGuard":
            node = up_to(node, ("match_pattern",))
        case "StructField":
            node = up_to(node, ("struct_expression",))
        case _:
            raise NoPlace
    if node is None:
        raise NoPlace
    return node


class File:
    """A source file with the switches that go into it."""

    def __init__(self, path: Path, mutants: list[Mutant]) -> None:
        text = path.read_text(encoding="utf-8")
        self.bytes = text.encode()
        self.lines = text.split("\n")
        self.starts = [0]
        for line in self.lines:
            self.starts.append(self.starts[-1] + len(line.encode()) + 1)
        self.root = PARSER.parse(self.bytes).root_node
        self.at: dict[int, list[tuple[Mutant, int, int]]] = {}
        self.without_place: list[Mutant] = []
        for found in mutants:
            begin, end = (byte_of(self.lines, self.starts, at) for at in (found.begin, found.end))
            try:
                node = target(self.root, found, begin, end)
            except NoPlace:
                self.without_place.append(found)
                continue
            self.at.setdefault(node.id, []).append((found, begin, end))

    def text(self) -> str:
        return self.render(self.root).decode()

    def render(self, node: tree_sitter.Node) -> bytes:
        """The node with every switch in it."""
        mutants = self.at.get(node.id, [])
        plain = self.children(node)
        for found, begin, end in mutants:
            plain = self.switch(node, found, begin, end, plain)
        return plain

    def children(self, node: tree_sitter.Node, without: tuple[int, int] | None = None) -> bytes:
        """The node as it is, switches inside it included; `without` a range of bytes."""
        out, at = b"", node.start_byte
        for child in node.children:
            if without is not None and without[0] <= child.start_byte and child.end_byte <= without[1]:
                out += self.bytes[at : max(at, without[0])]
            else:
                out += self.bytes[at : child.start_byte] + self.render(child)
            at = child.end_byte
        return out + self.bytes[at : node.end_byte]

    def switch(self, node: tree_sitter.Node, found: Mutant, begin: int, end: int, plain: bytes) -> bytes:
        chosen = f"crate::mutated({found.number})".encode()
        new = found.replacement.encode()
        match found.genre:
            case "BinaryOperator":
                left, right = (self.render(self.field(node, name)) for name in ("left", "right"))
                if node.type == "binary_expression":
                    left, right = b"(" + left + b")", b"(" + right + b")"
                return b"(if " + chosen + b" { " + left + b" " + new + b" " + right + b" } else { " + plain + b" })"
            case "UnaryOperator":
                inner = self.render(node.children[-1])
                return b"(if " + chosen + b" { " + inner + b" } else { " + plain + b" })"
            case "FnValue":
                return b"{ if " + chosen + b" { return " + new + b"; } " + plain[1:]
            case "MatchArm":
                guard = node.child_by_field_name("condition")
                if guard is None:
                    return plain + b" if !" + chosen
                head = self.bytes[node.start_byte : guard.start_byte]
                return head + b"!" + chosen + b" && (" + self.render(guard) + b")"
            case "MatchArmGuard":
                guard = self.field(node, "condition")
                head = self.bytes[node.start_byte : guard.start_byte]
                return head + b"(if " + chosen + b" { " + new + b" } else { " + self.render(guard) + b" })"
            case _:
                fields = self.field(node, "body")
                gone = next(c for c in fields.children if c.start_byte <= begin < c.end_byte)
                after = gone.next_sibling
                until = after.end_byte if after is not None and after.type == "," else gone.end_byte
                short = self.bytes[node.start_byte : fields.start_byte] + self.children(fields, (gone.start_byte, until))
                return b"(if " + chosen + b" { " + short + b" } else { " + plain + b" })"

    @staticmethod
    def field(node: tree_sitter.Node, name: str) -> tree_sitter.Node:
        child = node.child_by_field_name(name)
        if child is None:
            raise NoPlace
        return child
