"""How long tomllib and networkx take for what the program does when it loads a machine and finds nets.

    time_networkx.py FILE

Prints seconds for reading, for building the graph, for connected components and for bridges. The
program's own figures for the same file come from `cargo bench --bench load_and_nets`, which writes
the file when RINGOUT_BENCH_FILE names a path. This side checks nothing and resolves nothing, so the
comparison favours it.
"""

import sys
import time

import networkx as nx

import nets


def timed(what, work):
    start = time.perf_counter()
    result = work()
    seconds = time.perf_counter() - start
    print(f"{what:<28} {seconds:7.2f} s")
    return seconds, result


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    reading, tables = timed("tomllib", lambda: nets.read(sys.argv[1]))
    building, graph = timed("networkx graph", lambda: nets.graph_of(tables))
    finding, found = timed("connected components", lambda: sum(1 for _ in nx.connected_components(graph)))
    bridging, bridges = timed("bridges", lambda: sum(1 for _ in nx.bridges(graph)))
    print(f"{'load and nets':<28} {reading + building + finding:7.2f} s")
    print(f"{graph.number_of_nodes()} points, {graph.number_of_edges()} links, {found} nets, {bridges} bridges")


if __name__ == "__main__":
    main()
