/* The same arithmetic as chainsim.blocks.phaser, in plain C, with sines by rate for
   LFOs: what the kernels' speed is compared with. */
#include <math.h>
#include <stdint.h>

#define FLUSH 1e-30
#define MOST_STAGES 12
#define TOP 0.45

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

/* x: x_channels rows of frames; turn, y: channels rows; z: channels rows of MOST_STAGES. */
void phaser(const double *x, int64_t x_channels, int64_t channels, int64_t frames, int64_t n0, double per_sample,
            double rate_hz, const double *phases, const double *low_hz, const double *high_hz,
            const double *feedback_percent, const double *dry, const double *wet, int64_t stages, double *z,
            double *turn, double *y)
{
    sines(n0, per_sample, phases, channels, frames, turn);
    for (int64_t c = 0; c < channels; c++) {
        double last_low = NAN, last_high = NAN, last_wave = NAN, start = 0.0, span = 0.0, found = 0.0;
        double *row = turn + c * frames;
        for (int64_t i = 0; i < frames; i++) {
            if (low_hz[i] != last_low || high_hz[i] != last_high) {
                last_low = low_hz[i];
                last_high = high_hz[i];
                last_wave = NAN;
                start = log(last_low);
                span = log(last_high / last_low);
            }
            if (row[i] != last_wave) {
                last_wave = row[i];
                double hz = fmin(exp(start + span * (0.5 + 0.5 * last_wave)), TOP * rate_hz);
                double g = tan(M_PI * hz / rate_hz);
                found = (g - 1.0) / (g + 1.0);
            }
            row[i] = found;
        }
    }
    for (int64_t c = 0; c < channels; c++) {
        const double *sound = x + (c < x_channels ? c : x_channels - 1) * frames;
        double *s = z + c * MOST_STAGES, last = NAN, k = 0.0, even = 1.0;
        for (int64_t i = 0; i < frames; i++) {
            if (feedback_percent[i] != last) {
                last = feedback_percent[i];
                k = 0.01 * last;
                even = sqrt(1.0 - k * k);
            }
            double a = turn[c * frames + i], r = sqrt(1.0 - a * a), through = 1.0, held = 0.0;
            for (int64_t m = 0; m < stages; m++) {
                through *= a;
                held = a * held + r * s[m];
            }
            double u = (sound[i] + k * held) / (1.0 - k * through);
            for (int64_t m = 0; m < stages; m++) {
                double before = s[m];
                s[m] = r * u - a * before;
                u = a * u + r * before;
            }
            if (sound[i] == 0.0)
                for (int64_t m = 0; m < stages; m++)
                    if (fabs(s[m]) < FLUSH)
                        s[m] = 0.0;
            y[c * frames + i] = dry[i] * sound[i] + wet[i] * (even * u);
        }
    }
}
