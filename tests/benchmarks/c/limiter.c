/* Plain C reference of the limiter: the same arithmetic as chainsim/blocks/limiter.py and the kernels it calls. */
#include <math.h>
#include <stdint.h>

#define SPAN 40
#define FACTOR 4
#define BLOCK 64

static double larger(double a, double b) { return a > b ? a : b; }

static double crest(double a, double b, double c)
{
    double bend;
    if (b < 0.0) a = -a, b = -b, c = -c;
    bend = 2.0 * b - a - c;
    return b >= a && b >= c && bend > 0.0 ? b + (c - a) * (c - a) / (8.0 * bend) : b;
}

static double box(double value, double *ring, int64_t count, int64_t *at, double *running)
{
    double found;
    *running += value;
    found = *running + ring[*at + 1];
    ring[(*at)++] = value;
    if (*at == count) {
        for (int64_t k = count - 2; k >= 0; k--) ring[k] += ring[k + 1];
        *at = 0, *running = 0.0;
    }
    return found;
}

/* x: channels rows of ahead + n, of which the first `ahead` frames came before; y: channels rows of n; gain: n.
   taps: FACTOR rows of SPAN; z_bound: channels rows of 4; counts: channels rows of 2; scratch: FACTOR rows of BLOCK.
   held, first, second: rings with one place more than they count; places: 3; running: 3; z: 1. */
void limiter(const double *x, int64_t n, int64_t channels, int64_t ahead, int64_t start, const double *taps,
             int64_t hold, double ceiling, double release, double *held, int64_t held_count, double *first,
             int64_t first_count, double *second, int64_t second_count, double *z_bound, int64_t *counts,
             double *scratch, int64_t *places, double *running, double *z, double *y, double *gain)
{
    double nepers = log(10.0) / 20.0, last = 0.0, found = 1.0;
    double share = nepers / ((double)first_count * second_count);
    for (int64_t c = 0; c < channels; c++) {
        const double *row = x + c * (ahead + n);
        double *s = z_bound + 4 * c, a = s[0], b = s[1], peak = s[2], next = s[3];
        int64_t left = counts[2 * c], next_left = counts[2 * c + 1];
        for (int64_t at = 0; at < n; at += BLOCK) {
            int64_t m = n - at < BLOCK ? n - at : BLOCK;
            const double *old = row + ahead + at - SPAN + 1;
            for (int64_t p = 0; p < FACTOR; p++) {
                double *u = scratch + p * BLOCK;
                for (int64_t i = 0; i < m; i++) u[i] = 0.0;
                for (int64_t k = 0; k < SPAN; k += 4) {
                    const double *g = taps + p * SPAN + k, *v = old + k;
                    for (int64_t i = 0; i < m; i++)
                        u[i] += g[0] * v[i] + g[1] * v[i + 1] + g[2] * v[i + 2] + g[3] * v[i + 3];
                }
            }
            for (int64_t i = 0; i < m; i++) {
                double sample = old[i + SPAN - 1 - SPAN / 2], edge = fabs(scratch[3 * BLOCK + i]), high;
                double u1 = scratch[i], u2 = scratch[BLOCK + i], u3 = scratch[2 * BLOCK + i];
                high = larger(larger(crest(a, b, sample), crest(b, sample, u1)),
                              larger(crest(sample, u1, u2), crest(u1, u2, u3)));
                a = u2, b = u3;
                if (edge >= peak) {
                    peak = edge, left = hold, next = 0.0, next_left = 0;
                } else {
                    if (edge >= next) next = edge, next_left = hold;
                    else next_left--;
                    if (left > 0) left--;
                    else peak = next, left = next_left, next = 0.0, next_left = 0;
                }
                high += peak;
                gain[at + i] = c == 0 ? high : larger(gain[at + i], high);
            }
        }
        s[0] = a, s[1] = b, s[2] = peak, s[3] = next;
        counts[2 * c] = left, counts[2 * c + 1] = next_left;
    }

    double falling = z[0];
    for (int64_t i = 0; i < n; i++) {
        double reduction = gain[i] > ceiling ? log(gain[i] / ceiling) / nepers : 0.0, total, highest;
        running[0] = larger(running[0], reduction);
        highest = larger(running[0], held[places[0] + 1]);
        held[places[0]++] = reduction;
        if (places[0] == held_count) {
            for (int64_t k = held_count - 2; k >= 0; k--) held[k] = larger(held[k], held[k + 1]);
            places[0] = 0, running[0] = 0.0;
        }
        falling = larger(highest, release * falling);
        if (falling < 1e-6) falling = 0.0;
        total = box(falling, first, first_count, places + 1, running + 1);
        total = box(total, second, second_count, places + 2, running + 2);
        if (total != last) {
            last = total;
            found = exp(-share * total);
        }
        gain[i] = found;
    }
    z[0] = falling;

    for (int64_t c = 0; c < channels; c++)
        for (int64_t i = 0; i < n; i++) y[c * n + i] = gain[i] * x[c * (ahead + n) + start + i];
}
