/* The same arithmetic as chainsim.blocks.chorus, in plain C, with sines by rate for
   LFOs: what the kernels' speed is compared with. */
#include <math.h>
#include <stdint.h>

#define COPIED 8
#define SPARE 4
#define FLUSH 1e-30
#define NEWEST 2.0
#define FASTEST 0.5
#define GRID_S 1.3
#define APART 7919

static double sine_of_turns(double turns)
{
    double u = turns - floor(turns + 0.5);
    if (u > 0.25)
        u = 0.5 - u;
    else if (u < -0.25)
        u = -0.5 - u;
    double t = 2.0 * M_PI * u, s = t * t;
    return t * (1.0 + s * (-1.0 / 6 + s * (1.0 / 120 + s * (-1.0 / 5040 + s * (1.0 / 362880 - s * (1.0 / 39916800))))));
}

static void sines(int64_t n0, double per_sample, const double *phases, int64_t lines, int64_t frames, double *y)
{
    for (int64_t v = 0; v < lines; v++)
        for (int64_t i = 0; i < frames; i++)
            y[v * frames + i] = sine_of_turns((double)(n0 + i) * per_sample + phases[v]);
}

static void slew(double *z, double *delays, int64_t lines, int64_t frames)
{
    for (int64_t v = 0; v < lines; v++) {
        double d = z[v], *row = delays + v * frames;
        for (int64_t i = 0; i < frames; i++) {
            double target = row[i];
            if (fabs(target - d) > FASTEST)
                target = d + copysign(FASTEST, target - d);
            d = target;
            row[i] = d;
        }
        z[v] = d;
    }
}

static void lagrange5(double f, double *h)
{
    double a = f + 2.0, b = f + 1.0, d = f - 1.0, e = f - 2.0, g = f - 3.0, ab = a * b, eg = e * g, fd = f * d;
    h[0] = b * fd * eg * (-1.0 / 120.0);
    h[1] = a * fd * eg * (1.0 / 24.0);
    h[2] = ab * d * eg * (-1.0 / 12.0);
    h[3] = ab * f * eg * (1.0 / 12.0);
    h[4] = ab * fd * g * (-1.0 / 24.0);
    h[5] = ab * fd * e * (1.0 / 120.0);
}

static inline double read_between(const double *line, int64_t at, int64_t mask, const double *h)
{
    const double *p = line + ((at - 3) & mask);
    if (h[2] == 1.0)
        return p[3];
    return (h[0] * p[5] + h[1] * p[4] + h[2] * p[3]) + (h[3] * p[2] + h[4] * p[1] + h[5] * p[0]);
}

static inline void write_sample(double *line, int64_t at, int64_t length, double value)
{
    if (fabs(value) < FLUSH)
        value = 0.0;
    line[at] = value;
    if (at < COPIED)
        line[length + at] = value;
}

static double hashed(int64_t seed, int64_t index)
{
    uint64_t z = (uint64_t)seed + ((uint64_t)index + 1) * 0x9E3779B97F4A7C15u;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    z ^= z >> 31;
    return (double)(z >> 11) * 0x1p-52 - 1.0;
}

/* x: x_channels rows of frames; delays: voices rows; gains: voices rows of channels; ring: x_channels rows. */
void chorus(const double *x, int64_t x_channels, int64_t channels, int64_t frames, int64_t n0, double per_sample,
            double rate_hz, const double *phases, int64_t voices, const double *depth_ms, const double *centres,
            double share, int64_t seed, const double *gains, const double *dry, const double *wet, double *z,
            double *delays, double *ring, int64_t length, int64_t *head, double *y)
{
    double cells = 1.0 / (GRID_S * rate_hz), per_ms = 0.001 * rate_hz, most = (double)(length - SPARE), h[6];
    sines(n0, per_sample, phases, voices, frames, delays);
    for (int64_t v = 0; v < voices; v++) {
        int64_t last = -1;
        double before = 0.0, after = 0.0;
        for (int64_t i = 0; i < frames; i++) {
            double place = (double)(n0 + i) * cells;
            int64_t cell = (int64_t)floor(place);
            if (cell != last) {
                last = cell;
                before = hashed(seed + APART * v, cell);
                after = hashed(seed + APART * v, cell + 1);
            }
            double t = place - (double)cell, wander = before + t * t * (3.0 - 2.0 * t) * (after - before);
            double depth = fmin(depth_ms[i] * per_ms, centres[v] - NEWEST);
            delays[v * frames + i] = centres[v] + depth * ((1.0 - share) * delays[v * frames + i] + share * wander);
        }
    }
    slew(z, delays, voices, frames);
    int64_t mask = length - 1, j = *head, wide = x_channels == 2, pair = channels == 2;
    const double *x0 = x, *x1 = x + (x_channels - 1) * frames;
    double *line0 = ring, *line1 = ring + (x_channels - 1) * (length + COPIED);
    for (int64_t i = 0; i < frames; i++) {
        write_sample(line0, j, length, x0[i]);
        if (wide)
            write_sample(line1, j, length, x1[i]);
        double left = 0.0, right = 0.0;
        for (int64_t v = 0; v < voices; v++) {
            double d = fmin(fmax(delays[v * frames + i], NEWEST), most);
            int64_t m = (int64_t)d;
            lagrange5(d - (double)m, h);
            double heard = read_between(line0, j - m, mask, h);
            left += gains[v * channels] * heard;
            if (wide)
                heard = read_between(line1, j - m, mask, h);
            if (pair)
                right += gains[v * channels + 1] * heard;
        }
        y[i] = dry[i] * x0[i] + wet[i] * left;
        if (pair)
            y[frames + i] = dry[i] * x1[i] + wet[i] * right;
        j = (j + 1) & mask;
    }
    *head = j;
}
