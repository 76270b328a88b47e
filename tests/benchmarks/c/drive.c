/* Plain C reference of the drive: the same arithmetic as chainsim/blocks/drive.py, dsp/oversampling.py and
   dsp/waveshaping.py. */
#include <math.h>
#include <stdint.h>
#include <string.h>

#define BLOCK 64
#define FLUSH 1e-30
#define LN_2 0.6931471805599453

typedef struct { double p, b, k, r; } cut;

static double gain_of(double hz, double fs) { double t = tan(M_PI * fmin(hz, 0.45 * fs) / fs); return t / (1.0 + t); }
static cut low_cut(double hz, double fs)
{
    double g = gain_of(hz, fs), share = fmin(fmax((hz - 10.0) / 10.0, 0.0), 1.0);
    return (cut){1.0 - 2.0 * g, 2.0 * g, 1.0 - share * g, share * (1.0 - g)};
}
static cut high_cut(double hz, double fs)
{
    double g = gain_of(hz, fs), share = fmin(fmax((18000.0 - hz) / 2000.0, 0.0), 1.0);
    return (cut){1.0 - 2.0 * g, 2.0 * g, share * (1.0 - g), 0.0};
}
static inline double cuts(double v, cut low, cut high, double *s)
{
    double u = (1.0 - high.k) * v + high.k * s[0], w = low.k * u - low.r * s[1];
    s[0] = high.p * s[0] + high.b * v;
    s[1] = low.p * s[1] + low.b * u;
    if (v == 0.0) {
        if (fabs(s[0]) < FLUSH) s[0] = 0.0;
        if (fabs(s[1]) < FLUSH) s[1] = 0.0;
    }
    return w;
}

static void fold_pairs(const double *line, const double *g, int64_t pairs, int64_t n, double *restrict y)
{
    for (int64_t i = 0; i < n; i++) y[i] = g[0] * (line[pairs - 1 + i] + line[pairs + i]);
    for (int64_t k = 1; k < pairs; k++)
        for (int64_t i = 0; i < n; i++) y[i] += g[k] * (line[pairs - 1 - k + i] + line[pairs + k + i]);
}

static double log_cosh(double v)
{
    double size = fabs(v);
    return size > 19.0 ? size - LN_2 : size + log1p(exp(-2.0 * size)) - LN_2;
}

static void over_corner(double a, double b, double *early, double *late)
{
    double p = a - 1.0, q = b - 1.0, s;
    if (p <= 0.0 && q <= 0.0) *early = 0.0, *late = 0.0;
    else if (p >= 0.0 && q >= 0.0) *early = p / 3.0 + q / 6.0, *late = p / 6.0 + q / 3.0;
    else if (q > 0.0) s = q / (q - p), *early = q * s * s / 6.0, *late = q * s * (0.5 - s / 6.0);
    else s = p / (p - q), *early = p * s * (0.5 - s / 6.0), *late = p * s * s / 6.0;
}

static void bend(int64_t shape, double bias, double *z, double *v, int64_t n)
{
    if (shape == 1) {
        double a = z[0], carried = z[1];
        for (int64_t i = 0; i < n; i++) {
            double b = v[i], e1, l1, e2, l2;
            over_corner(a, b, &e1, &l1);
            over_corner(-a, -b, &e2, &l2);
            v[i] = carried + (a / 3.0 + b / 6.0 - e1 + e2);
            carried = a / 6.0 + b / 3.0 - l1 + l2;
            a = b;
        }
        z[0] = a, z[1] = carried;
    } else if (shape == 3) {
        double a = z[0];
        for (int64_t i = 0; i < n; i++) {
            double b = v[i], h = 0.5 * (b - a);
            v[i] = sin(0.5 * (a + b)) * (fabs(h) > 1e-5 ? sin(h) / h : 1.0);
            a = b;
        }
        z[0] = a;
    } else {
        double rest = tanh(bias), a = z[0] + bias, area_a = log_cosh(a);
        for (int64_t i = 0; i < n; i++) {
            double b = v[i] + bias, area_b = log_cosh(b), way = b - a;
            z[0] = v[i];
            v[i] = (fabs(way) > 1e-5 ? (area_b - area_a) / way : tanh(0.5 * (a + b))) - rest;
            a = b, area_a = area_b;
        }
    }
}

/* x, v, y: channels rows of n; ring: channels rows of size; z_in, z_out, z: channels rows of 2; g: count rows of
   most; h: 2 rows of taps; lines: channels x 3 x count rows of longest; wide: 2 rows of BLOCK << count. */
void drive(const double *x, const double *drive_db, const double *low_hz, const double *high_hz, const double *tone_hz,
           const double *dry, const double *wet, int64_t n, int64_t channels, int64_t held, double fs, double *ring,
           int64_t size, int64_t *head, double *z_in, double *z_out, int64_t shape, double bias, const double *g,
           const int64_t *pairs, const int64_t *odd, int64_t count, int64_t most, const double *h, int64_t taps,
           double *lines, int64_t longest, double *wide_room, double *z, const double *makeup, int64_t made,
           double offset_hz, double *v, double *y)
{
    for (int64_t c = 0; c < channels; c++) {
        int64_t at = head[0];
        double last_db = NAN, last_low = NAN, last_high = NAN, gain = 0.0;
        cut low = {0}, high = {0};
        for (int64_t i = 0; i < n; i++) {
            if (drive_db[i] != last_db) last_db = drive_db[i], gain = exp(log(10.0) / 20.0 * last_db);
            if (low_hz[i] != last_low) last_low = low_hz[i], low = low_cut(last_low, fs);
            if (high_hz[i] != last_high) last_high = high_hz[i], high = high_cut(last_high, fs);
            ring[c * size + at] = x[c * n + i];
            int64_t then = at - held;
            double u = cuts(ring[c * size + (then >= 0 ? then : then + size)], low, high, z_in + 2 * c);
            v[c * n + i] = fabs(u) > FLUSH ? gain * u : 0.0;
            at = at + 1 < size ? at + 1 : 0;
            y[c * n + i] = dry[i] * ring[c * size + at];
        }
    }
    head[0] = (head[0] + n) % size;

    int64_t last = count - 1;
    for (int64_t c = 0; c < channels; c++) {
        double *up = lines + 3 * c * count * longest, *earlier = up + count * longest, *later = earlier + count * longest;
        for (int64_t start = 0; start < n; start += BLOCK) {
            int64_t m = n - start < BLOCK ? n - start : BLOCK;
            double *block = v + c * n + start, *wide = wide_room, *room = wide_room + (BLOCK << count);
            memcpy(up + 2 * pairs[0] - 1, block, m * sizeof(double));
            for (int64_t k = 0; k < count; k++) {
                double *line = up + k * longest, *to = k < last ? line + longest + 2 * pairs[k + 1] - 1 : wide;
                int64_t w = m << k;
                fold_pairs(line, g + k * most, pairs[k], w, room);
                for (int64_t i = 0; i < w; i++) to[2 * i] = room[i], to[2 * i + 1] = line[pairs[k] + i];
                for (int64_t i = 0; i < 2 * pairs[k] - 1; i++) line[i] = line[w + i];
            }
            bend(shape, bias, z + 2 * c, wide, m << count);
            for (int64_t k = last; k >= 0; k--) {
                int64_t w = m << k, kept = k == last ? taps - 1 : 2 * pairs[k] - 1;
                double *e = earlier + k * longest, *l = later + k * longest;
                for (int64_t i = 0; i < w; i++) e[kept + i] = wide[2 * i], l[kept + i] = wide[2 * i + 1];
                if (k == last) {
                    for (int64_t i = 0; i < w; i++) room[i] = h[0] * e[i] + h[taps] * l[i];
                    for (int64_t j = 1; j < taps; j++)
                        for (int64_t i = 0; i < w; i++) room[i] += h[j] * e[j + i] + h[taps + j] * l[j + i];
                } else {
                    const double *passed = odd[k] ? l + pairs[k] - 1 : e + pairs[k];
                    fold_pairs(odd[k] ? e : l, g + k * most, pairs[k], w, room);
                    for (int64_t i = 0; i < w; i++) room[i] = 0.5 * (room[i] + passed[i]);
                }
                for (int64_t i = 0; i < kept; i++) e[i] = e[w + i], l[i] = l[w + i];
                double *swap = wide;
                wide = room, room = swap;
            }
            memcpy(block, wide, m * sizeof(double));
        }
    }

    cut low = low_cut(offset_hz, fs);
    for (int64_t c = 0; c < channels; c++) {
        double last_db = NAN, last_tone = NAN, gain = 0.0;
        cut high = {0};
        for (int64_t i = 0; i < n; i++) {
            if (drive_db[i] != last_db) {
                last_db = drive_db[i];
                double place = (last_db + 24.0) / 0.1;
                int64_t k = (int64_t)place;
                k = k < 0 ? 0 : k > made - 2 ? made - 2 : k;
                gain = exp(makeup[k] + (place - k) * (makeup[k + 1] - makeup[k]));
            }
            if (tone_hz[i] != last_tone) last_tone = tone_hz[i], high = high_cut(last_tone, fs);
            double bent = fabs(v[c * n + i]) > FLUSH ? v[c * n + i] : 0.0;
            y[c * n + i] += wet[i] * cuts(gain * bent, low, high, z_out + 2 * c);
        }
    }
}
