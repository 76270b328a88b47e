/* Radio link: a cascade of second-order sections, dropouts drawn by the second, a delay. */
#include <math.h>
#include <stdint.h>

static double hashed(uint64_t seed, uint64_t index)
{
    uint64_t z = seed + (index + 1) * 0x9E3779B97F4A7C15ULL;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    z = z ^ (z >> 31);
    return (double)(z >> 11) * 0x1p-52 - 1.0;
}

static void cascade(const double *k, int64_t count, double *z, double *y, int64_t frames)
{
    for (int64_t s = 0; s < count; s += 2, k += 10, z += 4) {
        double s1 = z[0], s2 = z[1], u1 = z[2], u2 = z[3];
        for (int64_t i = 0; i < frames; i++) {
            double x = y[i], v = k[0] * x + s1, t1 = (k[1] * x + s2) - k[3] * v, t2 = k[2] * x - k[4] * v;
            if (x == 0.0)
                t1 = fabs(t1) < 1e-30 ? 0.0 : t1, t2 = fabs(t2) < 1e-30 ? 0.0 : t2;
            double w = k[5] * v + u1, q1 = (k[6] * v + u2) - k[8] * w, q2 = k[7] * v - k[9] * w;
            if (v == 0.0)
                q1 = fabs(q1) < 1e-30 ? 0.0 : q1, q2 = fabs(q2) < 1e-30 ? 0.0 : q2;
            s1 = t1, s2 = t2, u1 = q1, u2 = q2, y[i] = w;
        }
        z[0] = s1, z[1] = s2, z[2] = u1, z[3] = u2;
    }
}

void radio_link(int64_t seed, int64_t n0, const double *x, int64_t channels, int64_t frames, const double *sections,
                int64_t count, const double *rate, const double *least, double shortest, double longest, double ramp,
                double rate_hz, double *z, int64_t *state, double *ring, int64_t length, int64_t *head, double *gain,
                double *y)
{
    for (int64_t c = 0; c < channels; c++) {
        for (int64_t i = 0; i < frames; i++)
            y[c * frames + i] = fabs(x[c * frames + i]) < 1e-30 ? 0.0 : x[c * frames + i];
        cascade(sections, count, z + c * count * 2, y + c * frames, frames);
    }
    int64_t begun = state[0], end = state[1], drawn = -1, begin = 0, lasts = 0;
    double chance = 0.0;
    for (int64_t i = 0; i < frames; i++) {
        int64_t n = n0 + i, second = (int64_t)((double)n / rate_hz);
        if (second != drawn) {
            drawn = second;
            chance = 0.5 + 0.5 * hashed((uint64_t)seed, (uint64_t)(3 * second));
            begin = (int64_t)(((double)second + 0.5 + 0.5 * hashed((uint64_t)seed, (uint64_t)(3 * second + 1))) * rate_hz);
            double share = 0.5 + 0.5 * hashed((uint64_t)seed, (uint64_t)(3 * second + 2));
            lasts = (int64_t)(shortest + (longest - shortest) * share);
        }
        if (n == begin && n >= end && 60.0 * chance < rate[i])
            begun = n, end = n + lasts;
        gain[i] = 1.0;
        if (n < end) {
            double inside = (double)(n - begun + 1 < end - n ? n - begun + 1 : end - n);
            double down = inside >= ramp ? 1.0 : 0.5 - 0.5 * cos(3.14159265358979323846 * inside / ramp);
            gain[i] = 1.0 - (1.0 - least[i]) * down;
        }
    }
    state[0] = begun, state[1] = end;
    int64_t at = *head;
    for (int64_t i = 0; i < frames; i++) {
        int64_t after = at + 1 < length ? at + 1 : 0;
        for (int64_t c = 0; c < channels; c++) {
            ring[c * length + at] = y[c * frames + i];
            y[c * frames + i] = gain[i] * ring[c * length + after];
        }
        at = after;
    }
    *head = at;
}
