/* The same arithmetic as chainsim.dsp.fdn_reverb.fdn_reverb at a decay time that stands still, in plain C: what the
   kernel's speed is compared with. */
#include <math.h>
#include <stdint.h>

#define LINES 16
#define SPAN 32
#define FLUSH 1e-30

static inline int64_t least(int64_t a, int64_t b) { return a < b ? a : b; }

static inline double flushed(double z) { return fabs(z) < FLUSH ? 0.0 : z; }

static inline double biquad(double x, double *z, const double *k)
{
    double y = k[0] * x + z[0];
    double t1 = (k[1] * x + z[1]) - k[3] * y, t2 = k[2] * x - k[4] * y;
    z[0] = x == 0.0 ? flushed(t1) : t1;
    z[1] = x == 0.0 ? flushed(t2) : t2;
    return y;
}

static void diffuse(double gain, int64_t length, int64_t *head, double *restrict ring, int64_t frames,
                    double *restrict s)
{
    for (int64_t done = 0; done < frames;) {
        int64_t count = least(frames - done, length - *head);
        for (int64_t i = 0; i < count; i++) {
            double x = s[done + i], old = ring[*head + i], y = old - gain * x;
            ring[*head + i] = flushed(x + gain * y);
            s[done + i] = y;
        }
        done += count;
        *head = *head + count < length ? *head + count : 0;
    }
}

static void disperse(double a, int64_t stretch, int64_t springs, int64_t *head, double *restrict ring,
                     double *restrict waiting, double *restrict out, int64_t frames, double *restrict s)
{
    for (int64_t done = 0; done < frames;) {
        int64_t rows = least(frames - done, stretch - *head), at = *head * springs;
        for (int64_t i = 0; i < rows; i++)
            waiting[at + i * springs] = s[done + i];
        for (int64_t k = 0; k < rows * springs; k++) {
            double old = ring[at + k], new = flushed(waiting[at + k] - a * old);
            ring[at + k] = new;
            out[k] = a * new + old;
        }
        for (int64_t k = 0; k < rows * springs; k++)
            waiting[at + 1 + k] = out[k];
        for (int64_t i = 0; i < rows; i++)
            s[done + i] = out[(i + 1) * springs - 1];
        done += rows;
        *head = *head + rows < stretch ? *head + rows : 0;
    }
}

static void read_lines(const double *rings, const int64_t *starts, const int64_t *heads, const int64_t *lengths,
                       int64_t frames, double *restrict v)
{
    for (int k = 0; k < LINES; k++) {
        int64_t first = least(frames, lengths[k] - heads[k]);
        for (int64_t i = 0; i < first; i++)
            v[LINES * i + k] = rings[starts[k] + heads[k] + i];
        for (int64_t i = first; i < frames; i++)
            v[LINES * i + k] = rings[starts[k] + i - first];
    }
}

static void absorb_lines(double *restrict f, int64_t frames, double *restrict v)
{
    double *restrict z = f + 208;
    for (int64_t i = 0; i < frames; i++)
        for (int k = 0; k < LINES; k++) {
            double x = flushed(v[LINES * i + k]);
            for (int s = 0; s < 3; s++) {
                double *b = f + 64 * s + k, *state = z + 32 * s + k, y = x + state[0];
                state[0] = (b[0] * x + state[16]) - b[32] * y;
                state[16] = b[16] * x - b[48] * y;
                x = y;
            }
            v[LINES * i + k] = f[192 + k] * x;
        }
}

static void turn_pairs(const double *turns, const double *waves, int64_t offset, int64_t frames, double *restrict q)
{
    for (int j = 0; j < 8; j++) {
        const double *wc = waves + 66 * j + offset, *ws = wc + 33;
        double *low = q + SPAN * j, *high = q + SPAN * (j + 8);
        for (int64_t i = 0; i < frames; i++) {
            double c = turns[2 * j] * wc[i] - turns[2 * j + 1] * ws[i];
            double s = turns[2 * j + 1] * wc[i] + turns[2 * j] * ws[i];
            double a = low[i], b = high[i];
            low[i] = c * a - s * b;
            high[i] = s * a + c * b;
        }
    }
}

static void butterflies(double *restrict q, int64_t frames, int apart)
{
    for (int k = 0; k < LINES; k++)
        if (!(k & apart))
            for (int64_t i = 0; i < frames; i++) {
                double a = q[SPAN * k + i], b = q[SPAN * (k + apart) + i];
                q[SPAN * k + i] = a + b;
                q[SPAN * (k + apart) + i] = a - b;
            }
}

static void write_lines(double *rings, const int64_t *starts, int64_t *heads, const int64_t *lengths, int64_t frames,
                        const double *restrict q)
{
    for (int k = 0; k < LINES; k++) {
        int64_t first = least(frames, lengths[k] - heads[k]);
        for (int64_t i = 0; i < first; i++)
            rings[starts[k] + heads[k] + i] = q[SPAN * k + i];
        for (int64_t i = first; i < frames; i++)
            rings[starts[k] + i - first] = q[SPAN * k + i];
        heads[k] = heads[k] + frames >= lengths[k] ? heads[k] + frames - lengths[k] : heads[k] + frames;
    }
}

void reverb(int64_t n0, const double *x, int64_t channels, int64_t frames, const double *gd, const double *gw,
            const double *width, double *y, double input_gain, double diffusion, double spring_a, const double *cuts,
            int64_t cut_count, double *cut_z, const int64_t *diffusers, int64_t diffuser_count,
            int64_t *diffuser_heads, double *diffuser_rings, int64_t diffuser_room, int64_t *spring_head,
            double *spring_ring, int64_t stretch, int64_t springs, double *spring_waiting, double *spring_out,
            double *s, double *input_ring, int64_t size, const int64_t *taps, const int64_t *sources,
            const double *tap_gains, const int64_t *lengths, const int64_t *starts, int64_t *heads, double *rings,
            double *filters, double *turns, const double *waves, double *v, double *q)
{
    for (int64_t i0 = 0, run; i0 < frames; i0 += run) {
        int64_t offset = (n0 + i0) % SPAN, at = (n0 + i0) % size;
        run = least(SPAN - offset, frames - i0);
        for (int64_t c = 0; c < channels; c++) {
            for (int64_t i = 0; i < run; i++)
                s[i] = input_gain * x[c * frames + i0 + i];
            for (int64_t i = 0; i < run; i++)
                for (int64_t k = 0; k < cut_count; k++)
                    s[i] = biquad(s[i], cut_z + 2 * (c * cut_count + k), cuts + 5 * k);
            for (int64_t k = 0; k < diffuser_count; k++)
                diffuse(diffusion, diffusers[k], diffuser_heads + c * diffuser_count + k,
                        diffuser_rings + (c * diffuser_count + k) * diffuser_room, run, s);
            if (springs)
                disperse(spring_a, stretch, springs, spring_head + c, spring_ring + c * stretch * springs,
                         spring_waiting + c * (stretch * springs + 1), spring_out, run, s);
            for (int64_t i = 0; i < run; i++)
                input_ring[2 * c * size + at + i] = input_ring[(2 * c + 1) * size + at + i] = s[i];
        }
        read_lines(rings, starts, heads, lengths, run, v);
        absorb_lines(filters, run, v);
        for (int64_t i = 0; i < run; i++)
            for (int k = 0; k < LINES; k++)
                q[SPAN * k + i] = v[LINES * i + k];
        turn_pairs(turns, waves, offset, run, q);
        for (int k = 0; k < LINES; k++) {
            const double *from = input_ring + (2 * sources[k] + 1) * size + at - taps[k];
            for (int64_t i = 0; i < run; i++)
                q[SPAN * k + i] += tap_gains[k] * from[i];
        }
        butterflies(q, run, 4);
        butterflies(q, run, 8);
        for (int64_t i = 0; i < run; i++) {
            q[SPAN * 16 + i] = (q[i] + q[SPAN * 5 + i]) + (q[SPAN * 10 + i] + q[SPAN * 15 + i]);
            q[SPAN * 17 + i] = (q[SPAN * 4 + i] + q[SPAN + i]) + (q[SPAN * 14 + i] + q[SPAN * 11 + i]);
        }
        butterflies(q, run, 1);
        butterflies(q, run, 2);
        write_lines(rings, starts, heads, lengths, run, q);
        for (int64_t c = 0; c < 2; c++) {
            const double *dry = x + (c < channels ? c : channels - 1) * frames;
            for (int64_t i = 0; i < run; i++) {
                double left = q[SPAN * 16 + i], right = q[SPAN * 17 + i], side = width[i0 + i] * (left - right);
                y[c * frames + i0 + i] =
                    gd[i0 + i] * dry[i0 + i] + gw[i0 + i] * (0.5 * (left + right) + (c ? -0.5 : 0.5) * side);
            }
        }
        if (offset + run == SPAN) {
            for (int j = 0; j < 8; j++) {
                double c = turns[2 * j] * waves[66 * j + 32] - turns[2 * j + 1] * waves[66 * j + 65];
                double d = turns[2 * j + 1] * waves[66 * j + 32] + turns[2 * j] * waves[66 * j + 65];
                double stretched = 1.5 - 0.5 * (c * c + d * d);
                turns[2 * j] = c * stretched;
                turns[2 * j + 1] = d * stretched;
            }
            for (int k = 208; k < 304; k++)
                filters[k] = flushed(filters[k]);
        }
    }
}
