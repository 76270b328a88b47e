/* Plain C reference of the oscillator and of a two-voice synth: the same arithmetic as chainsim/dsp/oscillator.py and
   chainsim/blocks/following_synth.py with saws, amplitude "horn", no drive, no LFOs, no filter envelope. */
#include <math.h>
#include <stdint.h>

static double spline(const double *points, int64_t first, int64_t size, double phase)
{
    double at = phase * size;
    int64_t k = (int64_t)at;
    double t = at - k;
    const double *p = points + first + k;
    double a = p[0], b = p[1], c = p[2], d = p[3];
    return (a + 4.0 * b + c) + t * (3.0 * (c - a) + t * (3.0 * (a - 2.0 * b + c) + t * (d - a + 3.0 * (b - c))));
}

/* freq_hz, ratio, width, y: n; first, size, fade_from, fade_to: tables; phase: 1. */
void oscillate(const double *freq_hz, const double *ratio, const double *width, int64_t n, int64_t pulse,
               const double *points, const int64_t *first, const int64_t *size, const double *fade_from,
               const double *fade_to, int64_t tables, double top_hz, double rate_hz, double *phase, double *y)
{
    double p = phase[0], of_top = 1.0 / top_hz, of_rate = 1.0 / rate_hz, low = 0.0, fade = 0.0, high = 0.0;
    int64_t level = 0, begin = 0, length = 0, next_begin = 0, next_length = 0;
    for (int64_t i = 0; i < n; i++) {
        double hz = fmin(fmax(freq_hz[i] * ratio[i], 0.0), top_hz), share = hz * of_top;
        if (share >= high || share < low) {
            while (share >= fade_to[level]) level++;
            while (level > 0 && share < fade_to[level - 1]) level--;
            low = level > 0 ? fade_to[level - 1] : 0.0;
            fade = fade_from[level], high = fade_to[level];
            begin = first[level], length = size[level];
            int64_t poorer = level + 1 < tables ? level + 1 : tables - 1;
            next_begin = first[poorer], next_length = size[poorer];
        }
        double other = p, value = spline(points, begin, length, p);
        if (pulse) {
            other = p - width[i];
            if (other < 0.0) other = fmin(other + 1.0, 1.0 - 0x1p-53);
            value -= spline(points, begin, length, other);
        }
        if (share > fade) {
            double fuller = value;
            value = spline(points, next_begin, next_length, p);
            if (pulse) value -= spline(points, next_begin, next_length, other);
            value += (high - share) / (high - fade) * (fuller - value);
        }
        y[i] = value;
        p += hz * of_rate;
        if (p >= 1.0) p -= 1.0;
    }
    phase[0] = p;
}

/* track: 5 rows of n; x, y, row, hz, one, pitch, cutoff: n; state: 22 doubles, 0 but for state[11] = 1. */
void following_synth(const double *track, const double *x, int64_t n, const double *points, const int64_t *first,
                     const int64_t *size, const double *fade_from, const double *fade_to, int64_t tables,
                     double top_hz, double rate_hz, double a4_hz, double semitones_0, double semitones_1, double smooth,
                     double even, double up, double down, double cut_step, double cutoff_hz, double q, double follow,
                     double gain_each, double *row, double *hz, double *ratio, double *pitch, double *gate, double *state,
                     double *phase, double *y)
{
    double alive = state[0], since = state[1], level_db = state[2], cut = state[3];
    double last_hz = state[4], aim = state[5], s1 = state[6], s2 = state[7], nearest = state[10], t = state[12];
    double last_pitch = NAN, found = 0.0;
    for (int64_t i = 0; i < n; i++) {
        double f = track[i], age = track[4 * n + i], level = track[3 * n + i];
        int voiced = track[n + i] > 0.0 && f > 0.0, start = 0;
        since += 1.0 / rate_hz;
        if (voiced) {
            if (alive == 0.0) start = 1, since = 0.0;
            else if (age > 0.0 && age < since) start = 1, since = age;
            alive = 1.0, level_db = level, cut = 0.0;
        } else if (age > 0.0) {
            alive = 0.0, cut = 1.0;
        } else if (level < fmax(level_db - 12.0, -60.0)) {
            alive = 0.0;
        }
        double open = voiced || alive != 0.0 ? 1.0 : -cut;
        t = open > 0.0 ? fmin(t + up, 1.0) : fmax(t - (open < 0.0 ? cut_step : down), 0.0);
        gate[i] = t * t * (3.0 - 2.0 * t);
        if (start) state[11] = 1.0;
        if (voiced && (f != last_hz || state[11] != 0.0)) {
            int jump = last_hz == 0.0 || state[11] != 0.0;
            last_hz = f;
            double new_aim = 69.0 + 12.0 * log2(fmin(fmax(f, 8.0), 20000.0) / a4_hz), step = new_aim - aim;
            aim = new_aim;
            if (jump) s1 = s2 = aim;
            else if (fabs(step) > 0.3) s1 += step, s2 += step;
            if (jump || fabs(aim - nearest) > 0.7) nearest = fmin(fmax(floor(aim + 0.5), 0.0), 127.0);
            state[11] = 0.0;
        }
        s1 = aim + smooth * (s1 - aim);
        s2 = s1 + smooth * (s2 - s1);
        pitch[i] = s2;
        if (s2 != last_pitch) last_pitch = s2, found = a4_hz * exp(log(2.0) / 12.0 * (s2 - 69.0));
        hz[i] = found;
    }
    state[0] = alive, state[1] = since, state[2] = level_db, state[3] = cut, state[4] = last_hz, state[5] = aim;
    state[6] = s1, state[7] = s2, state[10] = nearest, state[12] = t;
    for (int64_t i = 0; i < n; i++) y[i] = 0.0;
    for (int64_t k = 0; k < 2; k++) {
        double r = exp(log(2.0) / 12.0 * (k ? semitones_1 : semitones_0));
        for (int64_t i = 0; i < n; i++) ratio[i] = r;
        oscillate(hz, ratio, ratio, n, 0, points, first, size, fade_from, fade_to, tables, top_hz, rate_hz, phase + k, row);
        for (int64_t i = 0; i < n; i++) y[i] += gain_each * row[i];
    }
    double z0 = state[13], z1 = state[14], v1 = state[15], v2 = state[16], last = NAN, factor = 1.0;
    double k = 1.0 / q, scale = k < 1.0 ? sqrt(k) : 1.0, top = 0.45 * rate_hz, step = 0.5 * M_PI / rate_hz;
    for (int64_t i = 0; i < n; i++) {
        double octaves = follow * (pitch[i] - 60.0) / 12.0;
        if (octaves != last) last = octaves, factor = exp(log(2.0) * octaves);
        double h = step * fmin(fmax(cutoff_hz * factor, 10.0), top), s = h * h;
        double above = h * (2027025.0 - s * (270270.0 - s * (6930.0 - s * 36.0)));
        double below = 2027025.0 - s * (945945.0 - s * (51975.0 - s * (630.0 - s)));
        double u = 2.0 * above * below, v = below * below - above * above, r = 1.0 / (v * v + u * (u + k * v));
        double a1 = v * v * r, a2 = u * v * r, a3 = u * u * r, in = y[i];
        double t1 = (2.0 * a1 - 1.0) * v1 + (2.0 * a2 * in - 2.0 * a2 * v2);
        double t2 = v2 + (2.0 * a2 * v1 + (2.0 * a3 * in - 2.0 * a3 * v2));
        double low = scale * 0.5 * (v2 + t2);
        v1 = t1, v2 = t2;
        double power = x[i] * x[i];
        z0 = power + even * (z0 - power);
        z1 = z0 + even * (z1 - z0);
        y[i] = low * sqrt(z1) * gate[i];
    }
    state[13] = z0, state[14] = z1, state[15] = v1, state[16] = v2;
}
