/* The same arithmetic as chainsim.blocks.flanger, in plain C, with sines by rate for
   LFOs: what the kernels' speed is compared with. */
#include <math.h>
#include <stdint.h>

#define COPIED 8
#define SPARE 4
#define FLUSH 1e-30
#define LEAST 3.0
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

/* x: x_channels rows of frames; delays, y, ring, straight: channels rows. */
void flanger(const double *x, int64_t x_channels, int64_t channels, int64_t frames, int64_t n0, double per_sample,
             double rate_hz, const double *phases, const double *shortest_ms, const double *longest_ms, int64_t late,
             const double *feedback_percent, const double *dry, const double *wet, double *z, double *delays,
             double *ring, double *straight, int64_t length, int64_t *head, double *y)
{
    double per_ms = rate_hz / 1000.0, most = (double)(length - SPARE), h[6];
    sines(n0, per_sample, phases, channels, frames, delays);
    for (int64_t c = 0; c < channels; c++) {
        double last_short = NAN, last_long = NAN, start = 0.0, span = 0.0, *row = delays + c * frames;
        for (int64_t i = 0; i < frames; i++) {
            if (late > 0) {
                row[i] = (double)late + longest_ms[i] * per_ms * row[i];
                continue;
            }
            if (shortest_ms[i] != last_short || longest_ms[i] != last_long) {
                last_short = shortest_ms[i];
                last_long = longest_ms[i];
                start = log(last_long * per_ms);
                span = log(last_short / last_long);
            }
            row[i] = exp(start + span * (0.5 + 0.5 * row[i]));
        }
    }
    slew(z, delays, channels, frames);
    int64_t mask = length - 1, begin = *head, j = begin;
    for (int64_t c = 0; c < channels; c++) {
        const double *sound = x + (c < x_channels ? c : x_channels - 1) * frames;
        double *line = ring + c * (length + COPIED), *kept = straight + c * (length + COPIED);
        double last = NAN, g = 0.0, even = 1.0;
        j = begin;
        for (int64_t i = 0; i < frames; i++) {
            if (feedback_percent[i] != last) {
                last = feedback_percent[i];
                g = 0.01 * last;
                even = sqrt(1.0 - g * g);
            }
            double d = fmin(fmax(delays[c * frames + i], LEAST), most);
            int64_t m = (int64_t)d;
            lagrange5(d - (double)m, h);
            double w = read_between(line, j - m, mask, h), as_it_came = sound[i];
            write_sample(line, j, length, sound[i] + g * w);
            if (late > 0) {
                write_sample(kept, j, length, as_it_came);
                as_it_came = kept[(j - late) & mask];
            }
            y[c * frames + i] = dry[i] * as_it_came + wet[i] * (even * w);
            j = (j + 1) & mask;
        }
    }
    *head = j;
}
