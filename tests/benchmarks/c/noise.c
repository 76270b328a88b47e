/* Noise floor: Gaussian noise drawn by place, a cascade of second-order sections, hum, and their sum with the sound. */
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

void gaussian_noise(int64_t seed, int64_t n0, int64_t channels, int64_t frames, double *y)
{
    const double pi = 3.14159265358979323846;
    for (int64_t c = 0; c < channels; c++) {
        int64_t last = -1;
        double even = 0.0, odd = 0.0;
        for (int64_t i = 0; i < frames; i++) {
            int64_t n = n0 + i, pair = n / 2;
            if (pair != last) {
                last = pair;
                double u = 0.5 - 0.5 * hashed((uint64_t)seed, (uint64_t)(c * ((int64_t)1 << 48) + 2 * pair));
                double angle = pi * hashed((uint64_t)seed, (uint64_t)(c * ((int64_t)1 << 48) + 2 * pair + 1));
                double r = sqrt(-2.0 * log(u));
                even = r * cos(angle), odd = r * sin(angle);
            }
            y[c * frames + i] = n % 2 == 1 ? odd : even;
        }
    }
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

void noise(int64_t seed, int64_t n0, const double *x, int64_t channels, int64_t frames, const double *sections,
           int64_t count, double turns_per_sample, const double *sizes, int64_t harmonics, const double *level,
           const double *hum_level, double *z, double *floor_y, double *hum, double *y)
{
    gaussian_noise(seed, n0, channels, frames, floor_y);
    for (int64_t c = 0; c < channels; c++)
        cascade(sections, count, z + c * count * 2, floor_y + c * frames, frames);
    for (int64_t i = 0; i < frames; i++) {
        double turns = (double)(n0 + i) * turns_per_sample;
        double angle = 2.0 * 3.14159265358979323846 * (turns - floor(turns));
        double now = sin(angle), before = 0.0, twice = 2.0 * cos(angle), total = 0.0;
        for (int64_t k = 0; k < harmonics; k++) {
            total += sizes[k] * now;
            double next = twice * now - before;
            before = now, now = next;
        }
        hum[i] = total;
    }
    for (int64_t c = 0; c < channels; c++)
        for (int64_t i = 0; i < frames; i++)
            y[c * frames + i] = x[c * frames + i] + (level[i] * floor_y[c * frames + i] + hum_level[i] * hum[i]);
}
