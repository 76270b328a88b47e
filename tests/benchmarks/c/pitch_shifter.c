/* The same arithmetic as the innermost loops of chainsim.dsp.harmonic_tables, period_harmonics and period_marks. */
#include <math.h>
#include <stdint.h>

static inline double between(const double *v, double f)
{
    double a = v[0], b = v[1], c = v[2], d = v[3], sixth = 1.0 / 6.0;
    double c3 = sixth * (d - a) + 0.5 * (b - c);
    double c2 = 0.5 * (a + c) - b;
    double c1 = c - 0.5 * b - sixth * (a + a + d);
    return b + f * (c1 + f * (c2 + f * c3));
}

static inline double read_table(const double *table, int64_t n, double turn)
{
    double t = turn * n;
    int64_t j = (int64_t)t < n - 1 ? (int64_t)t : n - 1;
    return between(table + j, t - (double)j);
}

void take_away(const double *early, int64_t n, const double *late, int64_t m, int64_t lead, double last, double share,
               double following, double pace, int64_t i, int64_t end, double *y)
{
    for (int64_t k = i; k < end; k++) {
        double way = (lead + k - last) * share, s = way * way * (3.0 - 2.0 * way);
        double theta = (lead + k - following) * pace;
        theta -= floor(theta);
        double h = read_table(early, n, theta);
        y[k] -= h + s * (read_table(late, m, theta) - h);
    }
}

void read_voice(const double *early, int64_t n, const double *late, int64_t m, int64_t lead, double last, double share,
                const double *ratio, double own, double psi, int64_t i, int64_t end, double *y)
{
    for (int64_t k = i; k < end; k++) {
        double way = (lead + k - last) * share, s = way * way * (3.0 - 2.0 * way);
        psi += ratio[k] * own;
        if (psi >= 1.0)
            psi -= floor(psi);
        double h = read_table(early, n, psi);
        y[k] = h + s * (read_table(late, m, psi) - h);
    }
}

static double likeness(const double *line, int64_t begin, int64_t lag, int64_t length)
{
    double p0 = 0, p1 = 0, p2 = 0, p3 = 0, e0 = 0, e1 = 0, e2 = 0, e3 = 0;
    const double *a = line + begin, *b = line + begin + lag;
    for (int64_t t = 0; t < length - 3; t += 4) {
        p0 += a[t] * b[t];
        p1 += a[t + 1] * b[t + 1];
        p2 += a[t + 2] * b[t + 2];
        p3 += a[t + 3] * b[t + 3];
        e0 += a[t] * a[t] + b[t] * b[t];
        e1 += a[t + 1] * a[t + 1] + b[t + 1] * b[t + 1];
        e2 += a[t + 2] * a[t + 2] + b[t + 2] * b[t + 2];
        e3 += a[t + 3] * a[t + 3] + b[t + 3] * b[t + 3];
    }
    double product = (p0 + p1) + (p2 + p3), energy = (e0 + e1) + (e2 + e3);
    return energy > 1e-20 ? 2.0 * product / energy : 0.0;
}

static void fold_two_periods(const double *line, int64_t size, double m0, double m1, double m2, int64_t n, double *p)
{
    double each = 1.0 / n, turns = size * floor(m0 / size);
    double before = (m1 - m0) * each, after = (m2 - m1) * each, mean = 0.0;
    m0 -= turns;
    m1 -= turns;
    for (int64_t k = 0; k < n; k++) {
        double theta = k * each, s = theta * theta * (3.0 - 2.0 * theta), t = m0 + k * before;
        double left = between(line + (((int64_t)t - 1) & (size - 1)), t - (int64_t)t);
        t = m1 + k * after;
        double right = between(line + (((int64_t)t - 1) & (size - 1)), t - (int64_t)t);
        p[k] = right + s * (left - right);
        mean += p[k];
    }
    for (int64_t k = 0; k < n; k++)
        p[k] -= mean / n;
}

void search_and_fold(const double *line, int64_t size, int64_t begin, int64_t lag, int64_t length, double m0, double m1,
                     double m2, int64_t n, double *alike, double *p)
{
    for (int64_t k = 0; k < 4; k++)
        alike[k] = likeness(line, begin, lag + k, length);
    fold_two_periods(line, size, m0, m1, m2, n, p);
}
