/* The same arithmetic as chainsim.dsp.echo_loop.echo_loop, in plain C: what the kernel's speed is compared with. */
#include <math.h>
#include <stdint.h>

#define COPIED 8
#define LEAST 3.0
#define SPARE 4
#define FLUSH 1e-30

static double cut_gain(double cutoff_hz, double rate_hz)
{
    double t = tan(M_PI * fmin(cutoff_hz, 0.45 * rate_hz) / rate_hz);
    return t / (1.0 + t);
}

static double between(double low, double v, double high) { return fmin(fmax(v, low), high); }

static void lagrange5(double f, double *h)
{
    double a = f + 2.0, b = f + 1.0, d = f - 1.0, e = f - 2.0, g = f - 3.0;
    h[0] = b * (f * d) * (e * g) * (-1.0 / 120.0);
    h[1] = a * (f * d) * (e * g) * (1.0 / 24.0);
    h[2] = a * b * d * (e * g) * (-1.0 / 12.0);
    h[3] = a * b * f * (e * g) * (1.0 / 12.0);
    h[4] = a * b * (f * d) * g * (-1.0 / 24.0);
    h[5] = a * b * (f * d) * e * (1.0 / 120.0);
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

static inline double soft_limit(double u)
{
    double size = fabs(u);
    return size <= 0.5 ? u : copysign(1.0 - 0.25 / size, u);
}

struct cuts {
    double pl, bl, kl, rl, ph, bh, kh;
};

static inline double tick(double v, double *z, const struct cuts *w)
{
    double u = (1.0 - w->kh) * v + w->kh * z[0], out = w->kl * u - w->rl * z[1];
    z[0] = w->ph * z[0] + w->bh * v;
    z[1] = w->pl * z[1] + w->bl * u;
    if (v == 0.0) {
        if (fabs(z[0]) < FLUSH)
            z[0] = 0.0;
        if (fabs(z[1]) < FLUSH)
            z[1] = 0.0;
    }
    return out;
}

/* x: x_channels rows of frames; reads: 3 rows of frames; ring: channels rows of length + 8; z: channels rows of 2. */
void delay(const double *x, int64_t x_channels, int64_t frames, const double *reads, const double *feedback_percent,
           const double *low_cut_hz, const double *high_cut_hz, const double *dry, const double *wet, int64_t crossed,
           double rate_hz, double *ring, int64_t length, int64_t *head, double *z, double *y, int64_t channels)
{
    int64_t mask = length - 1, j = *head, m = 0, q = 0;
    double most = (double)(length - SPARE), last_low = NAN, last_high = NAN, last_read = NAN, last_left = NAN;
    double h[6] = {0}, k[6] = {0};
    struct cuts w = {0};
    double z0[2] = {z[0], z[1]}, z1[2] = {0.0, 0.0};
    const double *x0 = x, *x1 = x + (x_channels - 1) * frames;
    double *y0 = y, *y1 = y + (channels - 1) * frames, *line0 = ring, *line1 = ring + (channels - 1) * (length + COPIED);
    if (channels == 2) {
        z1[0] = z[2];
        z1[1] = z[3];
    }
    for (int64_t i = 0; i < frames; i++) {
        if (reads[i] != last_read) {
            double d = between(LEAST, last_read = reads[i], most);
            m = (int64_t)d;
            lagrange5(d - (double)m, h);
        }
        if (low_cut_hz[i] != last_low) {
            last_low = low_cut_hz[i];
            double gain = cut_gain(last_low, rate_hz), share = between(0.0, (last_low - 10.0) / 10.0, 1.0);
            w.pl = 1.0 - 2.0 * gain;
            w.bl = 2.0 * gain;
            w.kl = 1.0 - share * gain;
            w.rl = share * (1.0 - gain);
        }
        if (high_cut_hz[i] != last_high) {
            last_high = high_cut_hz[i];
            double gain = cut_gain(last_high, rate_hz);
            w.ph = 1.0 - 2.0 * gain;
            w.bh = 2.0 * gain;
            w.kh = between(0.0, (18000.0 - last_high) / 2000.0, 1.0) * (1.0 - gain);
        }
        double v0 = read_between(line0, j - m, mask, h), v1 = 0.0, w0, w1 = 0.0;
        if (channels == 2)
            v1 = read_between(line1, j - m, mask, h);
        double share = reads[2 * frames + i];
        if (share < 1.0) {
            if (reads[frames + i] != last_left) {
                double d = between(LEAST, last_left = reads[frames + i], most);
                q = (int64_t)d;
                lagrange5(d - (double)q, k);
            }
            double u = read_between(line0, j - q, mask, k);
            v0 = u + share * (v0 - u);
            if (channels == 2) {
                u = read_between(line1, j - q, mask, k);
                v1 = u + share * (v1 - u);
            }
        }
        w0 = tick(v0, z0, &w);
        if (channels == 2)
            w1 = tick(v1, z1, &w);
        double g = 0.01 * feedback_percent[i], fed0 = g * w0, fed1 = g * w1;
        if (fmax(fabs(fed0), fabs(fed1)) > 0.5) {
            fed0 = soft_limit(fed0);
            fed1 = soft_limit(fed1);
        }
        double from_left = fed0;
        fed0 = crossed ? 0.5 * (x0[i] + x1[i]) + fed1 : x0[i] + fed0;
        fed1 = crossed ? from_left : x1[i] + fed1;
        write_sample(line0, j, length, fed0);
        y0[i] = dry[i] * x0[i] + wet[i] * w0;
        if (channels == 2) {
            write_sample(line1, j, length, fed1);
            y1[i] = dry[i] * x1[i] + wet[i] * w1;
        }
        j = (j + 1) & mask;
    }
    *head = j;
    z[0] = z0[0];
    z[1] = z0[1];
    if (channels == 2) {
        z[2] = z1[0];
        z[3] = z1[1];
    }
}
