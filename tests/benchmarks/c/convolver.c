/* Partitioned convolution: the head sample by sample, and the sum of spectra of one length of partitions. */
#include <stdint.h>
#include <string.h>

#define HEAD 128
#define PIECE 1024

void convolve_head(const double *x, int64_t frames, const double *h, double *line, double *y)
{
    for (int64_t begin = 0; begin < frames; begin += PIECE) {
        int64_t n = frames - begin < PIECE ? frames - begin : PIECE;
        memcpy(line + HEAD, x + begin, (size_t)n * sizeof(double));
        for (int k = 0; k < HEAD; k += 4) {
            const double a = h[k], b = h[k + 1], c = h[k + 2], d = h[k + 3];
            const double *xa = line + HEAD - k;
            for (int64_t i = 0; i < n; i++)
                y[begin + i] = (((y[begin + i] + a * xa[i]) + b * xa[i - 1]) + c * xa[i - 2]) + d * xa[i - 3];
        }
        memmove(line, line + n, HEAD * sizeof(double));
    }
}

/* A radix-4 butterfly: numbers at i, leap apart, to o, s apart; the last three turned back by the angles 1, 2, 3. */
#define BUTTERFLY(i, o)                                                                                       \
    do {                                                                                                      \
        double ar = xr[i], ai = xi[i], br = xr[(i) + leap], bi = xi[(i) + leap];                              \
        double cr = xr[(i) + 2 * leap], ci = xi[(i) + 2 * leap], dr = xr[(i) + 3 * leap], di = xi[(i) + 3 * leap]; \
        double er = ar + cr, ei = ai + ci, fr = ar - cr, fi = ai - ci;                                        \
        double gr = br + dr, gi = bi + di, hr = bi - di, hi = dr - br;                                        \
        double ur = fr + hr, ui = fi + hi, vr = er - gr, vi = ei - gi, wr = fr - hr, wi = fi - hi;            \
        yr[o] = er + gr, yi[o] = ei + gi;                                                                     \
        yr[(o) + s] = C1 * ur + S1 * ui, yi[(o) + s] = C1 * ui - S1 * ur;                                     \
        yr[(o) + 2 * s] = C2 * vr + S2 * vi, yi[(o) + 2 * s] = C2 * vi - S2 * vr;                             \
        yr[(o) + 3 * s] = C3 * wr + S3 * wi, yi[(o) + 3 * s] = C3 * wi - S3 * wr;                             \
    } while (0)

#define TURNS(p)                                                                                  \
    const double C1 = tw[2 * n + (p)], S1 = tw[row + 2 * n + (p)], C2 = tw[n + (p)], S2 = tw[row + n + (p)], \
                 C3 = tw[2 * row + 2 * n + (p)], S3 = tw[3 * row + 2 * n + (p)]

static void first_pass(const double *restrict xr, const double *restrict xi, double *restrict yr, double *restrict yi,
                       int64_t leap, const double *restrict tw, int64_t row)
{
    const int64_t n = leap, s = 1;
    for (int64_t p = 0; p < n; p++) {
        TURNS(p);
        BUTTERFLY(p, 4 * p);
    }
}

static void later_pass(const double *restrict xr, const double *restrict xi, double *restrict yr, double *restrict yi,
                       int64_t leap, int64_t s, const double *restrict tw, int64_t row)
{
    const int64_t n = leap / s;
    for (int64_t p = 0; p < n; p++) {
        TURNS(p);
        for (int64_t q = 0; q < s; q++)
            BUTTERFLY(p * s + q, 4 * p * s + q);
    }
}

/* Complex transform of m numbers in w[0], w[1], radix 4 by Stockham, with a last pass of radix 2 where m is no power
   of 4; returns in which of w the result begins. */
static int transform(double *const w[4], int64_t m, const double *tw, int64_t row)
{
    int at = 2;
    int64_t s = 4;
    first_pass(w[0], w[1], w[2], w[3], m / 4, tw, row);
    for (; s * 4 <= m; s *= 4, at = 2 - at)
        later_pass(w[at], w[at + 1], w[2 - at], w[3 - at], m / 4, s, tw, row);
    if (s < m) {
        const double *restrict xr = w[at], *restrict xi = w[at + 1];
        double *restrict yr = w[2 - at], *restrict yi = w[3 - at];
        for (int64_t q = 0; q < m / 2; q++) {
            yr[q] = xr[q] + xr[q + m / 2], yi[q] = xi[q] + xi[q + m / 2];
            yr[q + m / 2] = xr[q] - xr[q + m / 2], yi[q + m / 2] = xi[q] - xi[q + m / 2];
        }
        at = 2 - at;
    }
    return at;
}

/* One block of `size`: transform line, sum over the partitions, transform back; tw is (4, 2 size), work (4, size). */
static void convolve_block(int64_t size, int64_t count, int64_t newest, double *restrict line, double *restrict x_re,
                    double *restrict x_im, const double *restrict h_re, const double *restrict h_im,
                    const double *restrict tw, double *work, double *restrict sum_re, double *restrict sum_im,
                    double *restrict pending)
{
    const int64_t m = size, bins = size + 1, row = 2 * size;
    const double *c = tw + m, *s = tw + row + m;
    double *const w[4] = {work, work + m, work + 2 * m, work + 3 * m};
    for (int64_t i = 0; i < m; i++)
        w[0][i] = line[2 * i], w[1][i] = line[2 * i + 1];
    int at = transform(w, m, tw, row);
    const double *zr = w[at], *zi = w[at + 1];
    double *xr = x_re + newest * bins, *xi = x_im + newest * bins;
    xr[0] = zr[0] + zi[0], xi[0] = 0.0, xr[m] = zr[0] - zi[0], xi[m] = 0.0;
    for (int64_t k = 1; k < m; k++) {
        double er = 0.5 * (zr[k] + zr[m - k]), ei = 0.5 * (zi[k] - zi[m - k]);
        double dr = 0.5 * (zr[k] - zr[m - k]), di = 0.5 * (zi[k] + zi[m - k]);
        xr[k] = er + (c[k] * di - s[k] * dr), xi[k] = ei - (c[k] * dr + s[k] * di);
    }
    memcpy(line, line + size, (size_t)size * sizeof(double));
    memset(sum_re, 0, (size_t)bins * sizeof(double));
    memset(sum_im, 0, (size_t)bins * sizeof(double));
    for (int64_t p = 0; p < count; p++) {
        int64_t k0 = (newest - p + count) % count;
        const double *ar = x_re + k0 * bins, *ai = x_im + k0 * bins, *br = h_re + p * bins, *bi = h_im + p * bins;
        for (int64_t k = 0; k < bins; k++) {
            sum_re[k] += ar[k] * br[k] - ai[k] * bi[k];
            sum_im[k] += ar[k] * bi[k] + ai[k] * br[k];
        }
    }
    w[1][0] = 0.5 * (sum_re[0] + sum_re[m]), w[0][0] = 0.5 * (sum_re[0] - sum_re[m]);
    for (int64_t k = 1; k < m; k++) {
        double er = 0.5 * (sum_re[k] + sum_re[m - k]), ei = 0.5 * (sum_im[k] - sum_im[m - k]);
        double dr = 0.5 * (sum_re[k] - sum_re[m - k]), di = 0.5 * (sum_im[k] + sum_im[m - k]);
        w[1][k] = er - (c[k] * di + s[k] * dr), w[0][k] = ei + (c[k] * dr - s[k] * di);
    }
    at = transform(w, m, tw, row);
    zr = w[at + 1], zi = w[at];
    for (int64_t i = m / 2; i < m; i++)
        pending[2 * i - m] = zr[i], pending[2 * i + 1 - m] = zi[i];
}

/* Add to y what x, whole blocks of it, gives through one length of partitions; newest is in and out. */
void convolve_stage(const double *x, int64_t frames, int64_t size, int64_t count, int64_t *newest, double *line,
                    double *x_re, double *x_im, const double *h_re, const double *h_im, const double *tw, double *work,
                    double *sum_re, double *sum_im, double *pending, double *y)
{
    for (int64_t begin = 0; begin < frames; begin += size) {
        *newest = (*newest + 1) % count;
        convolve_block(size, count, *newest, line, x_re, x_im, h_re, h_im, tw, work, sum_re, sum_im, pending);
        memcpy(line + size, x + begin, (size_t)size * sizeof(double));
        for (int64_t i = 0; i < size; i++)
            y[begin + i] += pending[i];
    }
}
