"""Every float says its unit in its name, and no name of one unit is given a value of another.

The walk is syntactic: it sees names, attributes, calls by the unit their function's name ends in, and
keyword arguments. What it cannot see (a value passed on by a name without unit) the published cases catch.
"""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "doffer"
PURE = ("fibre", "process", "planning")
UNIT_WORDS = """
g kg mg um mm cm m km tex dtex mtex tpm tpi frac pct ppm c s min h ml l cents rpm rad deg dE nm
de px mm_per_px g_cm3 g_per_m g_per_ml g_per_l m_per_min m_per_100g g_per_100ml
frac_owf kg_per_h m_per_g g_per_km
g_per_m2 cm3_per_g cn_per_tex n_per_ktex wraps_per_inch
"""
LONGEST_FIRST = sorted(UNIT_WORDS.split(), key=len, reverse=True)
# Pure ratios and letters of a formula: numbers without a unit.
SAME = {"frac_owf": "frac"}  # on the weight of fibre says the basis, not another unit
RATIO_WORDS = """
draft doublings share shares ratio liquor_ratio water_parts offset sigma
factor level quantile z x y k sd cv low high
mean value weight weights passes take_up plies fold noise count_noise confidence correlation fibres variance
cycles_per_degree
"""
UNITLESS = frozenset(RATIO_WORDS.split())
BY_SYSTEM = "count"  # a yarn count whose unit is a parameter beside it


def unit_of(name: str) -> str | None:
    """The unit a name ends in: `dry_mass_g` -> g, `stock_g_per_100ml` -> g_per_100ml, plurals too."""
    for unit in LONGEST_FIRST:
        if name == unit or name.endswith((f"_{unit}", f"_{unit}s")):
            return SAME.get(unit, unit)
    return None


def unit_of_value(node: ast.AST) -> str | None:
    """The unit of an expression as far as a name in it says so."""
    if isinstance(node, ast.Name):
        return unit_of(node.id) if "_" in node.id else None
    if isinstance(node, ast.Attribute):
        return unit_of(node.attr) if "_" in node.attr else None
    if isinstance(node, ast.Call):
        return unit_of_value(node.func)
    if isinstance(node, ast.Subscript):
        return unit_of_value(node.value)
    if isinstance(node, ast.UnaryOp):
        return unit_of_value(node.operand)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub):
        return unit_of_value(node.left) or unit_of_value(node.right)
    return None


def pairs(node: ast.AST):
    """(name that takes, value that is given) wherever two units meet."""
    if isinstance(node, ast.keyword) and node.arg and "_" in node.arg:
        yield unit_of(node.arg), node.value
    elif isinstance(node, ast.Assign):
        for target in node.targets:
            yield unit_of_value(target), node.value
    elif isinstance(node, ast.AnnAssign) and node.value is not None:
        yield unit_of_value(node.target), node.value
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Sub):
        yield unit_of_value(node.left), node.right
    elif isinstance(node, ast.Compare):
        yield unit_of_value(node.left), node.comparators[0]


def mismatches(tree: ast.Module) -> list[str]:
    found = []
    for node in ast.walk(tree):
        for wanted, value in pairs(node):
            given = unit_of_value(value)
            if wanted and given and wanted != given:
                found.append(
                    f"line {value.lineno}: {given} where {wanted} is meant ({ast.unparse(node)[:70]})"
                )
    return found


def nameless(tree: ast.Module) -> list[str]:
    """Float parameters of public functions whose name has no unit."""
    found = []
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
            continue
        for parameter in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs):
            note = ast.unparse(parameter.annotation) if parameter.annotation else ""
            if note.split(" | ")[0] != "float" or unit_of(parameter.arg):
                continue
            if not set(parameter.arg.split("_")) & UNITLESS and parameter.arg not in UNITLESS | {BY_SYSTEM}:
                found.append(f"{node.name}({parameter.arg})")
    return found


def pure_files():
    return [path for package in PURE for path in sorted((SOURCE / package).rglob("*.py"))]


def test_every_float_parameter_says_its_unit():
    found = {p.name: nameless(ast.parse(p.read_text(encoding="utf-8"))) for p in pure_files()}
    assert {name: what for name, what in found.items() if what} == {}


def test_no_value_of_one_unit_goes_into_a_name_of_another():
    files = [
        *pure_files(),
        *sorted((SOURCE / "mill").rglob("*.py")),
        *sorted((SOURCE / "office").rglob("*.py")),
    ]
    found = {
        p.relative_to(SOURCE).as_posix(): mismatches(ast.parse(p.read_text(encoding="utf-8")))
        for p in files
        if "migrations" not in p.parts
    }
    assert {name: what for name, what in found.items() if what} == {}


@pytest.mark.parametrize(
    "fault",
    [
        "f(mass_g=lot_kg)",
        "x_g = lot.mass_kg",
        "y = a_g + b_kg",
        "z = a_g < b_kg",
        "w_g = weigh_kg()",
        "share_frac = typed_pct",
        "dry_mass_g: float = row.dry_mass_mg",
    ],
)
def test_a_planted_fault_is_found(fault):
    assert len(mismatches(ast.parse(fault))) == 1


@pytest.mark.parametrize("good", ["x_g = y_kg * 1000", "f(mass_g=grams(row.mass_mg))", "a_g = b_g + c_g"])
def test_a_conversion_is_no_fault(good):
    assert mismatches(ast.parse(good)) == []


def test_a_parameter_without_unit_is_found():
    assert nameless(ast.parse("def f(mass: float, dry_mass_g: float, draft: float): ...")) == ["f(mass)"]
