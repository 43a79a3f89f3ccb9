"""Nets and bridges of a harness definition, found without a line of the program under test.

Comes in: a definition (and the files it uses), and which connectors are unplugged. Goes out: JSON in
one canonical form. Why: the program finds nets by union-find and bridges by its own depth-first
search; this file reads the same text with another TOML reader and asks another graph library, so a
mistake would have to be made twice to go unseen.

    nets.py FILE [--unplug P1,P2]      one definition, printed for people
    nets.py --batch                    a JSON list of {"file", "unplugged"} on standard input

What joins: wires; contacts of equal name on connectors that are mated, unless one of them is
unplugged; ground terminals and the chassis. Parts join nothing.

The contacts of a built-in face stand in no definition, so a contact exists here once something
attaches to it: nets without a wire and without the chassis are left out.
"""

import argparse
import json
import sys
import tomllib
from pathlib import Path

import networkx as nx


def read(path, seen=None):
    """All tables of a definition and of the files it uses, each file once."""
    seen = {} if seen is None else seen
    path = Path(path).resolve()
    if path not in seen:
        with path.open("rb") as file:
            seen[path] = tomllib.load(file)
        for used in seen[path].get("use", []):
            read(path.parent / used, seen)
    return list(seen.values())


def graph_of(tables, unplugged=()):
    """The conductors as a multigraph: nodes are points by name, edges carry the name of what joins."""
    graph = nx.MultiGraph()
    for table in tables:
        for wire in table.get("wire", []):
            graph.add_edge(wire["from"], wire["to"], name=wire["id"], wire=True)
        for name, terminal in table.get("terminal", {}).items():
            if terminal.get("ground", False):
                graph.add_edge(name, "chassis", name=f"{name}/chassis", wire=False)
    join_mates(graph, tables, set(unplugged))
    return graph


def join_mates(graph, tables, unplugged):
    pairs = set()
    for table in tables:
        for name, connector in table.get("connector", {}).items():
            if "mate" in connector:
                pairs.add(frozenset((name, connector["mate"])))
    mate = {}
    for first, second in (sorted(pair) for pair in pairs):
        if first not in unplugged and second not in unplugged:
            mate[first], mate[second] = second, first
    joined = set()
    for point in list(graph.nodes):
        connector, _, contact = point.partition(".")
        if contact and connector in mate:
            joined.add(tuple(sorted((point, f"{mate[connector]}.{contact}"))))
    for first, second in sorted(joined):
        graph.add_edge(first, second, name=f"{first}/{second}", wire=False)


def canonical(graph):
    """Nets as sorted lists of points, and the names of all bridges, sorted."""
    nets = sorted(sorted(net) for net in nx.connected_components(graph) if len(net) > 1)
    # `bridges` knows that parallel edges are none; a bridge is then the only edge between its ends.
    bridges = [next(iter(graph[a][b].values()))["name"] for a, b in nx.bridges(graph)]
    return {"nets": nets, "bridges": sorted(bridges)}


def answer(file, unplugged):
    return canonical(graph_of(read(file), unplugged))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", nargs="?")
    parser.add_argument("--unplug", default="", help="connectors, separated by commas")
    parser.add_argument("--batch", action="store_true", help="read a JSON list of requests")
    args = parser.parse_args()
    if args.batch:
        requests = json.load(sys.stdin)
        json.dump([answer(request["file"], request["unplugged"]) for request in requests], sys.stdout)
    elif args.file:
        unplugged = [name for name in args.unplug.split(",") if name]
        json.dump(answer(args.file, unplugged), sys.stdout, indent=1, ensure_ascii=False)
        print()
    else:
        parser.error("name a definition, or use --batch")


if __name__ == "__main__":
    main()
