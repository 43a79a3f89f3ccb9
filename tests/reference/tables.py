"""Tables written and read by other programs' code, for comparison with the program under test.

    tables.py csv-out          JSON rows on standard input; CSV in several dialects of Python's csv module out, as JSON
    tables.py csv-in           CSV on standard input; its rows by Python's csv module out, as JSON
    tables.py xlsx-out FILE    JSON {"rows", "merged"} on standard input; a workbook by openpyxl
    tables.py xlsx-in FILE     the sheets of a workbook by openpyxl: every cell with its type
    tables.py dot FILE         nodes, and edges with their attributes, of a DOT file by pydot
    tables.py schema FILE      a JSON document on standard input held against a JSON Schema
"""

import csv
import io
import json
import sys


def csv_out():
    rows = json.load(sys.stdin)
    dialects = {
        "excel": {"dialect": "excel"},
        "unix": {"dialect": "unix"},
        "semicolons": {"delimiter": ";"},
        "tabs": {"dialect": "excel-tab"},
    }
    texts = {}
    for name, how in dialects.items():
        out = io.StringIO()
        csv.writer(out, **how).writerows(rows)
        texts[name] = out.getvalue()
    json.dump(texts, sys.stdout)


def csv_in():
    text = io.TextIOWrapper(sys.stdin.buffer, encoding="utf-8", newline="").read()
    json.dump(list(csv.reader(io.StringIO(text, newline=""), strict=True)), sys.stdout)


def xlsx_out(path):
    import datetime

    import openpyxl

    given = json.load(sys.stdin)
    book = openpyxl.Workbook()
    sheet = book.active
    for row, cells in enumerate(given["rows"], start=1):
        for column, value in enumerate(cells, start=1):
            if isinstance(value, dict):
                value = datetime.date.fromisoformat(value["date"])
            sheet.cell(row=row, column=column, value=value)
    for span in given["merged"]:
        sheet.merge_cells(span)
    book.save(path)


def xlsx_in(path):
    import openpyxl

    book = openpyxl.load_workbook(path)
    sheets = {
        sheet.title: [[[cell.value, cell.data_type] for cell in row] for row in sheet.iter_rows()] for sheet in book
    }
    json.dump({"sheets": sheets, "comment": book.properties.description}, sys.stdout)


def dot(path):
    import networkx
    import pydot

    (graph,) = pydot.graph_from_dot_file(path)
    plain = networkx.nx_pydot.from_pydot(graph)

    def bare(text):
        return text[1:-1].replace('\\"', '"').replace("\\\\", "\\") if text.startswith('"') else text

    nodes = {bare(name): {key: bare(value) for key, value in data.items()} for name, data in plain.nodes(data=True)}
    edges = [
        [bare(a), bare(b), {key: bare(value) for key, value in data.items()}] for a, b, data in plain.edges(data=True)
    ]
    json.dump({"nodes": nodes, "edges": edges}, sys.stdout)


def schema(path):
    import jsonschema

    with open(path, encoding="utf-8") as file:
        shape = json.load(file)
    jsonschema.Draft202012Validator.check_schema(shape)
    errors = jsonschema.Draft202012Validator(shape).iter_errors(json.load(sys.stdin))
    json.dump([f"{error.json_path}: {error.message}" for error in errors], sys.stdout)


COMMANDS = {
    "csv-out": csv_out,
    "csv-in": csv_in,
    "xlsx-out": xlsx_out,
    "xlsx-in": xlsx_in,
    "dot": dot,
    "schema": schema,
}

if __name__ == "__main__":
    COMMANDS[sys.argv[1]](*sys.argv[2:])
