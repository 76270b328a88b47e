/* Plain C reference of the compressor: the same arithmetic as chainsim/blocks/compressor.py, in one function. */
#include <math.h>
#include <stdint.h>

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

/* x, y: channels rows of n; detector: heard rows of n; gain: n, the level at first, then the gain. window: 0 for the
   peak, else half the rms window; rings: heard times 2 rows of window + 1; places, running, z_cut: heard rows of 2; z: 3;
   rest: 2. */
void compressor(const double *x, const double *detector, const double *threshold_db, const double *ratio,
                const double *make_up, const double *dry, const double *wet, int64_t n, int64_t channels,
                int64_t heard, double cut, double knee_db, int64_t window, int64_t hold, double attack, double release,
                double *rings, int64_t *places, double *running, double *z_cut, double *z, int64_t *rest, double *y,
                double *gain)
{
    double keep = 1.0 - 0.5 * cut, pole = 1.0 - cut, nepers = log(10.0) / 20.0;
    double share = 1.0 / ((double)window * window);
    for (int64_t c = 0; c < heard; c++) {
        double z0 = z_cut[2 * c], z1 = z_cut[2 * c + 1];
        for (int64_t i = 0; i < n; i++) {
            double v = detector[c * n + i], once = keep * (v - z0), level;
            z0 = pole * z0 + cut * v;
            level = fabs(keep * (once - z1));
            z1 = pole * z1 + cut * once;
            if (v == 0.0) {
                if (fabs(z0) < 1e-30) z0 = 0.0;
                if (fabs(z1) < 1e-30) z1 = 0.0;
            }
            if (window > 0) {
                double *first = rings + 2 * c * (window + 1), *second = first + window + 1, square = level * level;
                if (square < 1e-30) square = 0.0;
                square = box(square, first, window, places + 2 * c, running + 2 * c);
                level = sqrt(share * box(square, second, window, places + 2 * c + 1, running + 2 * c + 1));
            }
            gain[i] = c == 0 || level > gain[i] ? level : gain[i];
        }
        z_cut[2 * c] = z0;
        z_cut[2 * c + 1] = z1;
    }

    double peak = z[0], next = z[1], reduction = z[2], threshold = NAN, last_ratio = NAN, last_peak = NAN;
    double slope = 0.0, below = 0.0, wanted = 0.0, last = 0.0, found = 1.0;
    int64_t left = rest[0], next_left = rest[1];
    for (int64_t i = 0; i < n; i++) {
        double level = gain[i];
        if (threshold_db[i] != threshold || ratio[i] != last_ratio) {
            threshold = threshold_db[i], last_ratio = ratio[i], last_peak = NAN;
            slope = 1.0 - 1.0 / last_ratio;
            below = exp(nepers * (threshold - 0.5 * knee_db));
        }
        if (level >= peak) {
            peak = level, left = hold, next = 0.0, next_left = 0;
        } else {
            if (level >= next) next = level, next_left = hold;
            else next_left--;
            if (left > 0) left--;
            else peak = next, left = next_left, next = 0.0, next_left = 0;
        }
        if (peak != last_peak) {
            last_peak = peak, wanted = 0.0;
            if (peak > below) {
                double over = log(peak) / nepers - threshold, in_knee = over + 0.5 * knee_db;
                if (2.0 * over >= knee_db) wanted = slope * over;
                else if (2.0 * over > -knee_db) wanted = slope * in_knee * in_knee / (2.0 * knee_db);
            }
        }
        reduction = wanted + (wanted > reduction ? attack : release) * (reduction - wanted);
        if (wanted == 0.0 && reduction < 1e-6) reduction = 0.0;
        if (reduction != last) {
            last = reduction;
            found = exp(-nepers * reduction);
        }
        gain[i] = found;
    }
    z[0] = peak, z[1] = next, z[2] = reduction;
    rest[0] = left, rest[1] = next_left;

    for (int64_t c = 0; c < channels; c++)
        for (int64_t i = 0; i < n; i++) y[c * n + i] = (dry[i] + wet[i] * make_up[i] * gain[i]) * x[c * n + i];
}
