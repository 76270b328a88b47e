/* Plain C reference of the noise gate: the same arithmetic as chainsim/blocks/noise_gate.py, in one function. */
#include <math.h>
#include <stdint.h>

/* x, y: channels rows of n; detector: heard rows of n; gain: n, the running level at first, then the gain.
   ring: channels rows of delay; z_cut: heard rows of 2; z: 4; counts: 4; head: 1. */
void noise_gate(const double *x, const double *detector, const double *threshold_db, const double *floor_gain,
                int64_t n, int64_t channels, int64_t heard, double ratio, double cut, int64_t window, double attack,
                double release, int64_t hold, int64_t delay, double *ring, int64_t *head, double *z_cut, double *z,
                int64_t *counts, double *y, double *gain)
{
    double keep = 1.0 - 0.5 * cut, pole = 1.0 - cut;
    for (int64_t c = 0; c < heard; c++) {
        double z0 = z_cut[2 * c], z1 = z_cut[2 * c + 1];
        for (int64_t i = 0; i < n; i++) {
            double v = detector[c * n + i], first = keep * (v - z0), level;
            z0 = pole * z0 + cut * v;
            level = fabs(keep * (first - z1));
            z1 = pole * z1 + cut * first;
            if (v == 0.0) {
                if (fabs(z0) < 1e-30) z0 = 0.0;
                if (fabs(z1) < 1e-30) z1 = 0.0;
            }
            gain[i] = c == 0 || level > gain[i] ? level : gain[i];
        }
        z_cut[2 * c] = z0;
        z_cut[2 * c + 1] = z1;
    }

    double peak = z[0], second = z[1], q = z[2], p = z[3], last = NAN, open_at = 0.0, close_at = 0.0;
    int64_t peak_left = counts[0], second_left = counts[1], left = counts[2], open = counts[3];
    for (int64_t i = 0; i < n; i++) {
        double level = gain[i];
        if (threshold_db[i] != last) {
            last = threshold_db[i];
            open_at = pow(10.0, last / 20.0);
            close_at = ratio * open_at;
        }
        if (level >= peak) {
            peak = level, peak_left = window, second = 0.0, second_left = 0;
        } else {
            if (level >= second) second = level, second_left = window;
            else second_left--;
            if (peak_left > 0) peak_left--;
            else peak = second, peak_left = second_left, second = 0.0, second_left = 0;
        }
        if (!open) {
            if (peak >= open_at) open = 1, left = hold;
        } else if (peak >= close_at) {
            left = hold;
        } else if (left > 0) {
            left--;
        } else {
            open = 0;
        }
        if (open) {
            if (p == 1.0) {
                gain[i] = 1.0;
                continue;
            }
            q = 1.0 + attack * (q - 1.0);
            p = q + attack * (p - q);
            if (p > 1.0 - 1e-6) q = p = 1.0;
        } else {
            if (p == 0.0) {
                gain[i] = floor_gain[i];
                continue;
            }
            q = release * q;
            p = q + release * (p - q);
            if (p < 1e-6) q = p = 0.0;
        }
        gain[i] = p == 1.0 ? 1.0 : floor_gain[i] + (1.0 - floor_gain[i]) * p;
    }
    z[0] = peak, z[1] = second, z[2] = q, z[3] = p;
    counts[0] = peak_left, counts[1] = second_left, counts[2] = left, counts[3] = open;

    int64_t j = *head;
    for (int64_t c = 0; c < channels; c++) {
        if (delay == 0) {
            for (int64_t i = 0; i < n; i++) y[c * n + i] = gain[i] * x[c * n + i];
        } else {
            j = *head;
            for (int64_t i = 0; i < n; i++) {
                y[c * n + i] = gain[i] * ring[c * delay + j];
                ring[c * delay + j] = x[c * n + i];
                j = j + 1 < delay ? j + 1 : 0;
            }
        }
    }
    *head = j;
}
