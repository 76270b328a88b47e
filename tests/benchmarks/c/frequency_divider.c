/* Plain C reference of the frequency divider: the same arithmetic as chainsim/blocks/frequency_divider.py and
   dsp/frequency_division.py. */
#include <math.h>
#include <stdint.h>

#define FLUSH 1e-30

static void coefficients(const double *hz, int64_t n, double q, double fs, double *a)
{
    double step = 0.5 * M_PI / fs, k = 1.0 / q;
    for (int64_t i = 0; i < n; i++) {
        double h = step * hz[i], s = h * h;
        double top = h * (2027025.0 - s * (270270.0 - s * (6930.0 - s * 36.0)));
        double bottom = 2027025.0 - s * (945945.0 - s * (51975.0 - s * (630.0 - s)));
        double u = 2.0 * top * bottom, v = bottom * bottom - top * top, r = 1.0 / (v * v + u * (u + k * v));
        a[i] = v * v * r, a[n + i] = u * v * r, a[2 * n + i] = u * u * r;
    }
}

static void sweep(const double *x, const double *a, int64_t n, double q, int high, double *z, double *y)
{
    double s1 = z[0], s2 = z[1], k = 1.0 / q;
    double m0 = high ? 1.0 : 0.0, m1 = high ? -k : 0.0, m2 = high ? -1.0 : 1.0;
    for (int64_t i = 0; i < n; i++) {
        double v = x[i], a1 = a[i], a2 = a[n + i], a3 = a[2 * n + i];
        double t1 = (2.0 * a1 - 1.0) * s1 + (2.0 * a2 * v - 2.0 * a2 * s2);
        double t2 = s2 + (2.0 * a2 * s1 + (2.0 * a3 * v - 2.0 * a3 * s2));
        if (v == 0.0) {
            if (fabs(t1) < FLUSH) t1 = 0.0;
            if (fabs(t2) < FLUSH) t2 = 0.0;
        }
        y[i] = m0 * v + m1 * (0.5 * (s1 + t1)) + m2 * (0.5 * (s2 + t2));
        s1 = t1, s2 = t2;
    }
    z[0] = s1, z[1] = s2;
}

static void follow(const double *x, int64_t n, double attack, double release, int64_t hold, double *f, int64_t *rest,
                   double *envelope)
{
    for (int64_t i = 0; i < n; i++) {
        double level = fabs(x[i]);
        if (level >= f[0]) {
            f[0] = level, rest[0] = hold, f[1] = 0.0, rest[1] = 0;
        } else {
            if (level >= f[1]) f[1] = level, rest[1] = hold;
            else rest[1]--;
            if (rest[0] > 0) rest[0]--;
            else f[0] = f[1], rest[0] = rest[1], f[1] = 0.0, rest[1] = 0;
        }
        f[2] = f[0] >= f[2] ? f[0] : f[0] + release * (f[2] - f[0]);
        f[3] = f[2] + attack * (f[3] - f[2]);
        if (f[2] < FLUSH) f[2] = 0.0;
        if (f[3] < FLUSH) f[3] = 0.0;
        envelope[i] = f[3];
    }
}

static double spline_step(double t)
{
    if (t < -1.0) {
        double u = (t + 2.0) * (t + 2.0);
        return u * u / 24.0;
    }
    return 0.5 + t * (2.0 / 3.0 - t * t * (1.0 / 3.0 + t * 0.125));
}

static void turn_over(double sign, double share, double *steps)
{
    double size = 2.0 * sign;
    steps[2] += size * spline_step(share - 2.0);
    steps[3] += size * spline_step(share - 1.0);
    steps[4] -= size * spline_step(-share);
    steps[5] -= size * spline_step(-1.0 - share);
}

static double next_square(double sign, double *steps)
{
    double value = steps[0] + steps[2];
    steps[0] = steps[1], steps[1] = sign;
    steps[2] = steps[3], steps[3] = steps[4], steps[4] = steps[5], steps[5] = 0.0;
    return value;
}

/* x, y: channels rows of n; a: 3 rows of n, scratch; room: 5 rows of n, scratch; z: 4 rows of 2 for the filters, then
   4 of each follower, 4 of the divider, 12 of its steps, 1 of the offset's cut; rest: 2 of each follower. */
void frequency_divider(const double *x, const double *low_hz, const double *high_hz, const double *tone_hz,
                       const double *octave, const double *two_octaves, const double *dry, int64_t n, int64_t channels,
                       double fs, double q, double attack, double release, int64_t hold, double hysteresis,
                       double threshold, double offset_cut, double *a, double *room, double *z, int64_t *rest, double *y)
{
    double *heard = room, *cut = room + n, *loudness = room + 2 * n, *swing = room + 3 * n,
           *voice = room + 4 * n;
    for (int64_t i = 0; i < n; i++) {
        double sum = 0.0;
        for (int64_t c = 0; c < channels; c++) sum += x[c * n + i];
        heard[i] = sum / channels;
    }
    coefficients(low_hz, n, q, fs, a);
    sweep(heard, a, n, q, 1, z, cut);
    follow(cut, n, attack, release, hold, z + 8, rest, loudness);
    coefficients(high_hz, n, q, fs, a);
    sweep(cut, a, n, q, 0, z + 2, heard);
    sweep(heard, a, n, q, 0, z + 4, cut);
    follow(cut, n, attack, release, hold, z + 12, rest + 2, swing);

    double *d = z + 16, *of_half = z + 20, *of_quarter = z + 26, *s = z + 32;
    for (int64_t i = 0; i < n; i++) {
        double edge = hysteresis * swing[i], over = cut[i] - edge;
        if (swing[i] > 0.01 * threshold) {
            if (d[0] < 0.0 && over > 0.0) {
                double share = d[3] < 0.0 ? over / (over - d[3]) : 1.0;
                d[0] = 1.0, d[1] = -d[1];
                turn_over(d[1], share, of_half);
                if (d[1] > 0.0) d[2] = -d[2], turn_over(d[2], share, of_quarter);
            } else if (d[0] > 0.0 && cut[i] < -edge) {
                d[0] = -1.0;
            }
        }
        d[3] = over;
        double half = next_square(d[1], of_half), quarter = next_square(d[2], of_quarter);
        double v = 0.5 * fmax(loudness[i] - threshold, 0.0) * (octave[i] * half + two_octaves[i] * quarter), e = v - s[0];
        s[0] += 2.0 * offset_cut * e;
        if (v == 0.0 && fabs(s[0]) < FLUSH) s[0] = 0.0;
        heard[i] = (1.0 - offset_cut) * e;
    }
    coefficients(tone_hz, n, q, fs, a);
    sweep(heard, a, n, q, 0, z + 6, voice);
    for (int64_t c = 0; c < channels; c++)
        for (int64_t i = 0; i < n; i++) y[c * n + i] = dry[i] * x[c * n + i] + voice[i];
}
