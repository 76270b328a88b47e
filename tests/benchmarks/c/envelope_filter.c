/* Plain C reference of the envelope filter: the same arithmetic as chainsim/blocks/envelope_filter.py. */
#include <math.h>
#include <stdint.h>

/* x, y: channels rows of n; detector: heard rows of n; cutoff_hz: n, the envelope at first, then the cutoff.
   a: 3 rows of n, scratch; z_follow: 4; rest: 2; z: channels rows of 2. */
void envelope_filter(const double *x, const double *detector, const double *low_hz, const double *high_hz,
                     const double *q, const double *sensitivity, int64_t n, int64_t channels, int64_t heard,
                     double sample_rate_hz, double attack, double release, int64_t hold, int64_t down,
                     int64_t response, int64_t even, double *a, double *z_follow, int64_t *rest, double *z, double *y,
                     double *cutoff_hz)
{
    double peak = z_follow[0], second = z_follow[1], falling = z_follow[2], smooth = z_follow[3];
    int64_t left = rest[0], second_left = rest[1];
    for (int64_t i = 0; i < n; i++) {
        double level = 0.0;
        for (int64_t c = 0; c < heard; c++) {
            double v = fabs(detector[c * n + i]);
            if (v > level) level = v;
        }
        if (level >= peak) {
            peak = level, left = hold, second = 0.0, second_left = 0;
        } else {
            if (level >= second) second = level, second_left = hold;
            else second_left--;
            if (left > 0) left--;
            else peak = second, left = second_left, second = 0.0, second_left = 0;
        }
        falling = peak >= falling ? peak : peak + release * (falling - peak);
        smooth = falling + attack * (smooth - falling);
        if (falling < 1e-30) falling = 0.0;
        if (smooth < 1e-30) smooth = 0.0;
        cutoff_hz[i] = smooth;
    }
    z_follow[0] = peak, z_follow[1] = second, z_follow[2] = falling, z_follow[3] = smooth;
    rest[0] = left, rest[1] = second_left;

    double top_hz = 0.45 * sample_rate_hz;
    double last_low = NAN, last_high = NAN, last_p = NAN, start = 0.0, span = 0.0, found = 0.0;
    for (int64_t i = 0; i < n; i++) {
        if (low_hz[i] != last_low || high_hz[i] != last_high) {
            last_low = low_hz[i], last_high = high_hz[i], last_p = NAN;
            start = log(last_low), span = log(last_high) - log(last_low);
            if (down) start = start + span, span = -span;
        }
        double p = fmin(sensitivity[i] * cutoff_hz[i], 1.0);
        if (p != last_p) {
            last_p = p;
            found = fmin(exp(start + span * p), top_hz);
        }
        cutoff_hz[i] = found;
    }

    double step = 0.5 * M_PI / sample_rate_hz;
    for (int64_t i = 0; i < n; i++) {
        double k = 1.0 / q[i], h = step * cutoff_hz[i], s = h * h;
        double top = h * (2027025.0 - s * (270270.0 - s * (6930.0 - s * 36.0)));
        double bottom = 2027025.0 - s * (945945.0 - s * (51975.0 - s * (630.0 - s)));
        double u = 2.0 * top * bottom, v = bottom * bottom - top * top;
        double r = 1.0 / (v * v + u * (u + k * v));
        a[i] = v * v * r;
        a[n + i] = u * v * r;
        a[2 * n + i] = u * u * r;
    }

    for (int64_t c = 0; c < channels; c++) {
        double s1 = z[2 * c], s2 = z[2 * c + 1], last_q = NAN, m0 = 0.0, m1 = 0.0, m2 = 0.0;
        for (int64_t i = 0; i < n; i++) {
            if (q[i] != last_q) {
                last_q = q[i];
                double k = 1.0 / last_q, scale = even && k < 1.0 ? sqrt(k) : 1.0;
                m0 = response == 0 || response == 1 ? 0.0 : response == 2 ? scale : 1.0;
                m1 = response == 0 ? 0.0 : response == 1 ? k / scale : response == 2 ? -k * scale : -k;
                m2 = response == 0 ? scale : response == 2 ? -scale : 0.0;
            }
            double v = x[c * n + i], a1 = a[i], a2 = a[n + i], a3 = a[2 * n + i];
            double t1 = (2.0 * a1 - 1.0) * s1 + (2.0 * a2 * v - 2.0 * a2 * s2);
            double t2 = s2 + (2.0 * a2 * s1 + (2.0 * a3 * v - 2.0 * a3 * s2));
            if (v == 0.0) {
                if (fabs(t1) < 1e-30) t1 = 0.0;
                if (fabs(t2) < 1e-30) t2 = 0.0;
            }
            y[c * n + i] = m0 * v + m1 * (0.5 * (s1 + t1)) + m2 * (0.5 * (s2 + t2));
            s1 = t1, s2 = t2;
        }
        z[2 * c] = s1, z[2 * c + 1] = s2;
    }
}
