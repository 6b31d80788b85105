/* SPDX-License-Identifier: MIT */
/* blossom: nodes 1..n are the vertices, those above are blossoms; 0 is nobody. What
 * is said of a blossom is said of it as one node: its mate, its label, the lightest
 * (least slack) edge from it to every other node. */
#include "server/rules/blossom.h"

#include <assert.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum label { LABEL_NONE, LABEL_EVEN, LABEL_ODD };

/* Between two nodes: a vertex in the one and a vertex in the other; 0, 0 for none. */
struct edge {
    int from, to;
};

struct graph {
    const int64_t *weight;
    int n;         /* vertices */
    int nodes;     /* vertices and blossoms ever made at once */
    int size;      /* nodes there is room for, and one */
    int64_t *dual; /* of vertices and blossoms, doubled with the weights */
    int *mate;     /* vertex at the other end, 0 free */
    int *top;      /* outermost blossom a node lies in, itself; 0: no such node now */
    int *parent;   /* of an odd node: the vertex it was reached from */
    int *slack;    /* vertex of an even node with the least slack to this node, 0 none */
    enum label *label;
    unsigned *seen; /* by common_ancestor */
    unsigned stamp;
    int *queue; /* even vertices whose edges were not looked at */
    int head, tail;
    struct edge *edge; /* size * size */
    int *holder;       /* size * (n + 1): which member of a blossom holds a vertex */
    int *member;       /* size * size: of a blossom, around its odd cycle, base first */
    int *members;
};

static struct edge *edge_of(const struct graph *graph, int x, int y) {
    return &graph->edge[(size_t)x * (size_t)graph->size + (size_t)y];
}

static int *holder_of(const struct graph *graph, int blossom, int vertex) {
    return &graph->holder[(size_t)blossom * (size_t)(graph->n + 1) + (size_t)vertex];
}

static int *members_of(const struct graph *graph, int blossom) {
    return &graph->member[(size_t)blossom * (size_t)graph->size];
}

static int64_t weight_of(const struct graph *graph, int u, int v) {
    return graph->weight[(size_t)(u - 1) * (size_t)graph->n + (size_t)(v - 1)];
}

static bool is_edge(struct edge edge) {
    return edge.from != 0;
}

/* Not negative while the duals are feasible; 0: the edge is tight. */
static int64_t slack_of(const struct graph *graph, struct edge edge) {
    return graph->dual[edge.from] + graph->dual[edge.to] - 2 * weight_of(graph, edge.from, edge.to);
}

static void offer_slack(struct graph *graph, int vertex, int x) {
    if (graph->slack[x] == 0 || slack_of(graph, *edge_of(graph, vertex, x)) <
                                    slack_of(graph, *edge_of(graph, graph->slack[x], x)))
        graph->slack[x] = vertex;
}

static void find_slack(struct graph *graph, int x) {
    graph->slack[x] = 0;
    for (int u = 1; u <= graph->n; u++)
        if (is_edge(*edge_of(graph, u, x)) && graph->top[u] != x &&
            graph->label[graph->top[u]] == LABEL_EVEN)
            offer_slack(graph, u, x);
}

static void enqueue(struct graph *graph, int x) {
    if (x <= graph->n) {
        graph->queue[graph->tail++] = x;
        return;
    }
    for (int i = 0; i < graph->members[x]; i++)
        enqueue(graph, members_of(graph, x)[i]);
}

static void set_top(struct graph *graph, int x, int top) {
    graph->top[x] = top;
    if (x > graph->n)
        for (int i = 0; i < graph->members[x]; i++)
            set_top(graph, members_of(graph, x)[i], top);
}

/* Turns the cycle where need be, so that an even number of steps leads from the base
 * to the member; returns that number. */
static int even_way(struct graph *graph, int blossom, int member) {
    int *list = members_of(graph, blossom), count = graph->members[blossom], at = 0;
    while (list[at] != member)
        at++;
    if (at % 2 == 0)
        return at;
    for (int low = 1, high = count - 1; low < high; low++, high--) {
        int kept = list[low];
        list[low] = list[high];
        list[high] = kept;
    }
    return count - at;
}

/* The member becomes the base. */
static void turn_to(struct graph *graph, int blossom, int at, int *scratch) {
    int *list = members_of(graph, blossom), count = graph->members[blossom];
    for (int i = 0; i < count; i++)
        scratch[i] = list[(at + i) % count];
    memcpy(list, scratch, (size_t)count * sizeof *list);
}

/* Matches node x by its edge to node y, and what is inside x accordingly. */
static void match_node(struct graph *graph, int x, int y) {
    struct edge edge = *edge_of(graph, x, y);
    graph->mate[x] = edge.to;
    if (x <= graph->n)
        return;
    int inner = *holder_of(graph, x, edge.from);
    int at = even_way(graph, x, inner);
    for (int i = 0; i < at; i++)
        match_node(graph, members_of(graph, x)[i], members_of(graph, x)[i ^ 1]);
    match_node(graph, inner, y);
    /* Below nodes of the queue, which is empty of use by now, no room is needed. */
    turn_to(graph, x, at, graph->queue);
}

/* Flips the path from the free end of x's tree to x, which gets matched to y. */
static void flip_path(struct graph *graph, int x, int y) {
    for (;;) {
        int odd = graph->mate[x] == 0 ? 0 : graph->top[graph->mate[x]];
        match_node(graph, x, y);
        if (odd == 0)
            return;
        int even = graph->top[graph->parent[odd]];
        match_node(graph, odd, even);
        x = even;
        y = odd;
    }
}

static int common_ancestor(struct graph *graph, int x, int y) {
    graph->stamp++;
    while (x != 0 || y != 0) {
        if (x != 0) {
            if (graph->seen[x] == graph->stamp)
                return x;
            graph->seen[x] = graph->stamp;
            x = graph->mate[x] == 0 ? 0 : graph->top[graph->mate[x]];
            if (x != 0)
                x = graph->top[graph->parent[x]];
        }
        int other = x;
        x = y;
        y = other;
    }
    return 0;
}

/* The members on the way from x up to the ancestor, x first, the ancestor not. */
static int gather(struct graph *graph, int x, int ancestor, int *out) {
    int count = 0;
    while (x != ancestor) {
        int odd = graph->top[graph->mate[x]];
        out[count++] = x;
        out[count++] = odd;
        enqueue(graph, odd);
        x = graph->top[graph->parent[odd]];
    }
    return count;
}

/* The lightest edge from any member to each node. */
static void gather_edges(struct graph *graph, int blossom) {
    for (int x = 1; x <= graph->nodes; x++)
        *edge_of(graph, blossom, x) = *edge_of(graph, x, blossom) = (struct edge){0, 0};
    memset(holder_of(graph, blossom, 0), 0, (size_t)(graph->n + 1) * sizeof(int));
    for (int i = 0; i < graph->members[blossom]; i++) {
        int inner = members_of(graph, blossom)[i];
        for (int x = 1; x <= graph->nodes; x++) {
            struct edge own = *edge_of(graph, blossom, x), its = *edge_of(graph, inner, x);
            if (!is_edge(its) || (is_edge(own) && slack_of(graph, own) <= slack_of(graph, its)))
                continue;
            *edge_of(graph, blossom, x) = its;
            *edge_of(graph, x, blossom) = *edge_of(graph, x, inner);
        }
        for (int u = 1; u <= graph->n; u++)
            if (inner <= graph->n ? u == inner : *holder_of(graph, inner, u) != 0)
                *holder_of(graph, blossom, u) = inner;
    }
}

static void shrink(struct graph *graph, int x, int ancestor, int y) {
    int blossom = graph->n + 1;
    while (blossom <= graph->nodes && graph->top[blossom] != 0)
        blossom++;
    if (blossom > graph->nodes)
        graph->nodes = blossom;
    assert(blossom < graph->size);
    int *list = members_of(graph, blossom);
    list[0] = ancestor;
    int count = 1 + gather(graph, x, ancestor, list + 1);
    for (int low = 1, high = count - 1; low < high; low++, high--) {
        int kept = list[low];
        list[low] = list[high];
        list[high] = kept;
    }
    graph->members[blossom] = count + gather(graph, y, ancestor, list + count);
    graph->dual[blossom] = 0;
    graph->label[blossom] = LABEL_EVEN;
    graph->mate[blossom] = graph->mate[ancestor];
    graph->parent[blossom] = graph->parent[ancestor];
    set_top(graph, blossom, blossom);
    gather_edges(graph, blossom);
    find_slack(graph, blossom);
}

/* An odd blossom whose dual is spent falls apart. */
static void expand(struct graph *graph, int blossom) {
    const int *list = members_of(graph, blossom);
    for (int i = 0; i < graph->members[blossom]; i++)
        set_top(graph, list[i], list[i]);
    int entered = *holder_of(graph, blossom, edge_of(graph, blossom, graph->parent[blossom])->from);
    int at = even_way(graph, blossom, entered);
    for (int i = 0; i < at; i += 2) {
        int odd = list[i], even = list[i + 1];
        graph->parent[odd] = edge_of(graph, even, odd)->from;
        graph->label[odd] = LABEL_ODD;
        graph->label[even] = LABEL_EVEN;
        graph->slack[odd] = 0;
        find_slack(graph, even);
        enqueue(graph, even);
    }
    graph->label[entered] = LABEL_ODD;
    graph->parent[entered] = graph->parent[blossom];
    for (int i = at + 1; i < graph->members[blossom]; i++) {
        graph->label[list[i]] = LABEL_NONE;
        find_slack(graph, list[i]);
    }
    graph->top[blossom] = 0;
}

/* A tight edge from an even node. True when the matching has grown. */
static bool use_edge(struct graph *graph, struct edge edge) {
    int x = graph->top[edge.from], y = graph->top[edge.to];
    if (graph->label[y] == LABEL_NONE) {
        int even = graph->top[graph->mate[y]];
        graph->parent[y] = edge.from;
        graph->label[y] = LABEL_ODD;
        graph->slack[y] = graph->slack[even] = 0;
        graph->label[even] = LABEL_EVEN;
        enqueue(graph, even);
    } else if (graph->label[y] == LABEL_EVEN) {
        int ancestor = common_ancestor(graph, x, y);
        if (ancestor == 0) {
            flip_path(graph, x, y);
            flip_path(graph, y, x);
            return true;
        }
        shrink(graph, x, ancestor, y);
    }
    return false;
}

static bool look_at_queue(struct graph *graph) {
    while (graph->head < graph->tail) {
        int u = graph->queue[graph->head++];
        if (graph->label[graph->top[u]] == LABEL_ODD)
            continue;
        for (int v = 1; v <= graph->n; v++) {
            struct edge edge = *edge_of(graph, u, v);
            if (!is_edge(edge) || graph->top[u] == graph->top[v])
                continue;
            if (slack_of(graph, edge) != 0)
                offer_slack(graph, u, graph->top[v]);
            else if (use_edge(graph, edge))
                return true;
        }
    }
    return false;
}

static bool is_outer(const struct graph *graph, int x) {
    return graph->top[x] == x;
}

/* By how much the duals can move until something happens. */
static int64_t step_of(const struct graph *graph) {
    int64_t step = INT64_MAX;
    for (int x = 1; x <= graph->nodes; x++) {
        int64_t may = INT64_MAX;
        if (!is_outer(graph, x))
            continue;
        if (x > graph->n && graph->label[x] == LABEL_ODD)
            may = graph->dual[x] / 2;
        else if (graph->slack[x] != 0 && graph->label[x] != LABEL_ODD)
            may = slack_of(graph, *edge_of(graph, graph->slack[x], x)) /
                  (graph->label[x] == LABEL_EVEN ? 2 : 1);
        step = may < step ? may : step;
    }
    return step;
}

/* False when a free vertex's dual is spent: nothing heavier can be had. */
static bool move_duals(struct graph *graph, int64_t step) {
    for (int u = 1; u <= graph->n; u++)
        if (graph->label[graph->top[u]] == LABEL_EVEN && graph->dual[u] <= step)
            return false;
    for (int u = 1; u <= graph->n; u++) {
        enum label label = graph->label[graph->top[u]];
        graph->dual[u] += label == LABEL_EVEN ? -step : label == LABEL_ODD ? step : 0;
    }
    for (int x = graph->n + 1; x <= graph->nodes; x++)
        if (is_outer(graph, x))
            graph->dual[x] += graph->label[x] == LABEL_EVEN  ? 2 * step
                              : graph->label[x] == LABEL_ODD ? -2 * step
                                                             : 0;
    return true;
}

static bool use_new_edges(struct graph *graph) {
    for (int x = 1; x <= graph->nodes; x++)
        if (is_outer(graph, x) && graph->slack[x] != 0 && graph->top[graph->slack[x]] != x &&
            slack_of(graph, *edge_of(graph, graph->slack[x], x)) == 0 &&
            use_edge(graph, *edge_of(graph, graph->slack[x], x)))
            return true;
    return false;
}

/* One pair more. False when there is none that helps. */
static bool stage(struct graph *graph) {
    graph->head = graph->tail = 0;
    for (int x = 1; x <= graph->nodes; x++) {
        graph->label[x] = LABEL_NONE;
        graph->slack[x] = 0;
    }
    for (int x = 1; x <= graph->nodes; x++)
        if (is_outer(graph, x) && graph->mate[x] == 0) {
            graph->parent[x] = 0;
            graph->label[x] = LABEL_EVEN;
            enqueue(graph, x);
        }
    if (graph->tail == 0)
        return false;
    for (;;) {
        if (look_at_queue(graph))
            return true;
        if (!move_duals(graph, step_of(graph)))
            return false;
        graph->head = graph->tail = 0;
        if (use_new_edges(graph))
            return true;
        for (int x = graph->n + 1; x <= graph->nodes; x++)
            if (is_outer(graph, x) && graph->label[x] == LABEL_ODD && graph->dual[x] == 0)
                expand(graph, x);
    }
}

static void graph_release(struct graph *graph) {
    free(graph->dual);
    free(graph->mate);
    free(graph->top);
    free(graph->parent);
    free(graph->slack);
    free(graph->label);
    free(graph->seen);
    free(graph->queue);
    free(graph->edge);
    free(graph->holder);
    free(graph->member);
    free(graph->members);
}

static bool graph_init(struct graph *graph, const int64_t *weight, int n) {
    const size_t size = (size_t)n + (size_t)n / 2 + 2;
    *graph = (struct graph){.weight = weight, .n = n, .nodes = n, .size = (int)size};
    graph->dual = calloc(size, sizeof *graph->dual);
    graph->mate = calloc(size, sizeof *graph->mate);
    graph->top = calloc(size, sizeof *graph->top);
    graph->parent = calloc(size, sizeof *graph->parent);
    graph->slack = calloc(size, sizeof *graph->slack);
    graph->label = calloc(size, sizeof *graph->label);
    graph->seen = calloc(size, sizeof *graph->seen);
    graph->queue = calloc(size * 2, sizeof *graph->queue);
    graph->edge = calloc(size * size, sizeof *graph->edge);
    graph->holder = calloc(size * (size_t)(n + 1), sizeof *graph->holder);
    graph->member = calloc(size * size, sizeof *graph->member);
    graph->members = calloc(size, sizeof *graph->members);
    if (!graph->dual || !graph->mate || !graph->top || !graph->parent || !graph->slack ||
        !graph->label || !graph->seen || !graph->queue || !graph->edge || !graph->holder ||
        !graph->member || !graph->members)
        return false;
    int64_t heaviest = 0;
    for (int u = 1; u <= n; u++) {
        graph->top[u] = u;
        for (int v = 1; v <= n; v++) {
            int64_t its = u == v ? 0 : weight_of(graph, u, v);
            assert(its >= 0 && its <= BLOSSOM_WEIGHT_MAX);
            heaviest = its > heaviest ? its : heaviest;
            if (its > 0)
                *edge_of(graph, u, v) = (struct edge){u, v};
        }
    }
    for (int u = 1; u <= n; u++)
        graph->dual[u] = heaviest;
    return true;
}

int blossom_match(const int64_t *weight, int n, int *mate, struct err *err) {
    struct graph graph;
    assert(n >= 0 && n <= BLOSSOM_VERTICES_MAX);
    int result = -1;
    if (!graph_init(&graph, weight, n)) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    while (stage(&graph))
        continue;
    for (int u = 1; u <= n; u++)
        mate[u - 1] = graph.mate[u] == 0 ? BLOSSOM_FREE : graph.mate[u] - 1;
    result = 0;
cleanup:
    graph_release(&graph);
    return result;
}
