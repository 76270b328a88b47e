/* Plain C reference of the periodicity of one band: the same arithmetic as chainsim/dsp/pitch_periods.py, hop by hop. */
#include <stdint.h>

static void add_rows(const double *products, int64_t lags, int64_t rings, int64_t head, int64_t hop, int64_t shortest,
                     const int64_t *groups, int64_t group_count, const double *energy, double floor_power, double *rho)
{
    for (int64_t g = 0; g < group_count; g++) {
        int64_t start = groups[3 * g], end = groups[3 * g + 1], blocks = groups[3 * g + 2], window = blocks * hop;
        for (int64_t j = start; j < end; j++) rho[j] = 0.0;
        for (int64_t k = 0; k < blocks; k++) {
            const double *row = products + (head >= k ? head - k : head - k + rings) * lags;
            for (int64_t j = start; j < end; j++) rho[j] += row[j];
        }
        double own = energy[0] - energy[window] + 2.0 * floor_power * window;
        const double *late = energy + shortest, *early = late + window;
        for (int64_t j = start; j < end; j++) rho[j] = 2.0 * rho[j] / (own + (late[j] - early[j]));
    }
}

/* x: hops * hop * step; groups, steady_groups: rows of 3; newest, energy: size; products: rings rows of lags; at: 2;
   rho, steady_rho: lags, as they are after the last hop. */
void periodicity(const double *x, int64_t hops, int64_t hop, int64_t step, int64_t shortest, int64_t lags, int64_t kept,
                 int64_t size, const int64_t *groups, int64_t group_count, const int64_t *steady_groups,
                 int64_t steady_group_count, int64_t rings, double floor_power, double *newest, double *energy,
                 double *products, int64_t *at, double *rho, double *steady_rho)
{
    int64_t p = at[0], head = at[1];
    for (int64_t n = 0; n < hops; n++) {
        const double *heard = x + n * hop * step;
        if (p < hop) {
            double base = energy[p + kept - 1];
            for (int64_t i = kept - 1; i >= 0; i--) {
                newest[size - kept + i] = newest[p + i];
                energy[size - kept + i] = energy[p + i] - base;
            }
            p = size - kept;
        }
        for (int64_t i = 0; i < hop; i++) {
            double v = heard[(i + 1) * step - 1];
            p--;
            newest[p] = v;
            energy[p] = energy[p + 1] + v * v;
        }
        head = head + 1 < rings ? head + 1 : 0;
        double *block = products + head * lags;
        for (int64_t j = 0; j < lags; j++) block[j] = 0.0;
        for (int64_t i = p; i < p + hop; i += 4) {
            double x0 = newest[i], x1 = newest[i + 1], x2 = newest[i + 2], x3 = newest[i + 3];
            const double *older = newest + i + shortest;
            for (int64_t j = 0; j < lags; j++)
                block[j] += (x0 * older[j] + x1 * older[j + 1]) + (x2 * older[j + 2] + x3 * older[j + 3]);
        }
        add_rows(products, lags, rings, head, hop, shortest, groups, group_count, energy + p, floor_power, rho);
        add_rows(products, lags, rings, head, hop, shortest, steady_groups, steady_group_count, energy + p, floor_power,
                 steady_rho);
    }
    at[0] = p, at[1] = head;
}
