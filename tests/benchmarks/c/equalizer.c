/* The same arithmetic as chainsim.dsp.biquad.biquad_df2t, in plain C: what the kernel's speed is compared with. */
#include <math.h>
#include <stdint.h>

static inline double tick(double x, double *s, const double *k)
{
    double y = k[0] * x + s[0], t1 = (k[1] * x + s[1]) - k[3] * y, t2 = k[2] * x - k[4] * y;
    if (x == 0.0) {
        if (fabs(t1) < 1e-30)
            t1 = 0.0;
        if (fabs(t2) < 1e-30)
            t2 = 0.0;
    }
    s[0] = t1;
    s[1] = t2;
    return y;
}

/* coefficients: sections (even) rows of b0 b1 b2 a1 a2; z: channels rows of sections of 2; y: channels rows of frames. */
void equalizer(const double *coefficients, int64_t sections, double *z, double *y, int64_t channels, int64_t frames)
{
    for (int64_t c = 0; c < channels; c++) {
        double *row = y + c * frames;
        for (int64_t k = 0; k < sections; k += 2) {
            double *kept = z + 2 * (c * sections + k), first[2] = {kept[0], kept[1]}, second[2] = {kept[2], kept[3]};
            const double *one = coefficients + 5 * k, *two = one + 5;
            double p[5] = {one[0], one[1], one[2], one[3], one[4]}, q[5] = {two[0], two[1], two[2], two[3], two[4]};
            for (int64_t i = 0; i < frames; i++)
                row[i] = tick(tick(row[i], first, p), second, q);
            kept[0] = first[0];
            kept[1] = first[1];
            kept[2] = second[0];
            kept[3] = second[1];
        }
    }
}
