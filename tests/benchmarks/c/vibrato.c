/* The same arithmetic as chainsim.dsp.modulated_delay, in plain C: what the kernels' speed is compared with. */
#include <math.h>
#include <stdint.h>

#define COPIED 8
#define SPARE 4
#define FLUSH 1e-30
#define NEWEST 2.0
#define FASTEST 0.5

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

static double integral_of_wave(double turns, int64_t shape)
{
    if (shape == 0)
        return -0.5 / M_PI * sine_of_turns(turns + 0.25);
    double at = turns - floor(turns);
    if (shape == 2)
        return 0.25 - fabs(at - 0.5);
    double near = at < 0.25 ? at : at - 1.0;
    if (at < 0.25 || at >= 0.75)
        return 2.0 * near * near - 0.125;
    return 0.125 - 2.0 * (at - 0.5) * (at - 0.5);
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

/* x, y: channels rows of frames; tempo: 2 rows of frames; ring: channels rows of length + 8. */
void vibrato(const double *x, int64_t channels, int64_t frames, int64_t n0, const double *tempo, double per_sample,
             double per_beat, double rate_hz, int64_t shape, const double *depth_cents, double centre, double keep,
             double *z_depth, double *z_slew, double *delays, double *ring, int64_t length, int64_t *head, double *y)
{
    double size = z_depth[0], last_cents = NAN, last_bpm = NAN, aim = 0.0, d = z_slew[0];
    for (int64_t i = 0; i < frames; i++) {
        if (depth_cents[i] != last_cents || tempo[i] != last_bpm) {
            last_cents = depth_cents[i];
            last_bpm = tempo[i];
            aim = (exp(log(2.0) / 1200.0 * last_cents) - 1.0) / (per_sample + last_bpm / (60.0 * rate_hz) * per_beat);
            if (isnan(size))
                size = aim;
        }
        if (size != aim) {
            size = aim + keep * (size - aim);
            if (fabs(size - aim) < 1e-6)
                size = aim;
        }
        double turns = (double)(n0 + i) * per_sample + tempo[frames + i] * per_beat;
        delays[i] = centre - size * integral_of_wave(turns, shape);
    }
    z_depth[0] = size;
    for (int64_t i = 0; i < frames; i++) {
        double target = delays[i];
        if (fabs(target - d) > FASTEST)
            target = d + copysign(FASTEST, target - d);
        d = target;
        delays[i] = d;
    }
    z_slew[0] = d;
    int64_t mask = length - 1, begin = *head, j = begin;
    double most = (double)(length - SPARE);
    for (int64_t c = 0; c < channels; c++) {
        double *line = ring + c * (length + COPIED), h[6];
        j = begin;
        for (int64_t i = 0; i < frames; i++) {
            write_sample(line, j, length, x[c * frames + i]);
            double at = fmin(fmax(delays[i], NEWEST), most);
            int64_t m = (int64_t)at;
            lagrange5(at - (double)m, h);
            y[c * frames + i] = read_between(line, j - m, mask, h);
            j = (j + 1) & mask;
        }
    }
    *head = j;
}
