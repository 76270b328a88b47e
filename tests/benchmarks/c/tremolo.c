/* The same arithmetic as chainsim.dsp.lfo, but for sample and hold, and chainsim.blocks.tremolo, in plain C: what the
   kernels' speed is compared with. */
#include <math.h>
#include <stdint.h>

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

static double shape_of(double turns, double ease, int64_t shape)
{
    double at = turns - floor(turns);
    if (shape == 0)
        return sine_of_turns(turns);
    if (shape == 1) {
        double shifted = at + 0.75 - floor(at + 0.75);
        return 4.0 * fabs(shifted - 0.5) - 1.0;
    }
    double t = fmin((shape == 3 && at >= 0.5 ? at - 0.5 : at) / ease, 1.0), come = t * t * (3.0 - 2.0 * t);
    if (shape == 2)
        return 2.0 * at - 1.0 + 2.0 * (1.0 - come);
    return at < 0.5 ? 2.0 * come - 1.0 : 1.0 - 2.0 * come;
}

/* x: x_channels rows of frames; waves, y: channels rows. */
void tremolo(const double *x, int64_t x_channels, int64_t channels, int64_t frames, int64_t n0, const double *tempo,
             double per_sample, double per_beat, double rate_hz, int64_t shape, const double *depth, double *waves,
             double *y)
{
    for (int64_t c = 0; c < channels; c++) {
        const double *bpm = tempo + 2 * c * frames, *beat = bpm + frames;
        for (int64_t i = 0; i < frames; i++) {
            double turns = (double)(n0 + i) * per_sample + beat[i] * per_beat;
            double hz = per_sample * rate_hz + bpm[i] / 60.0 * per_beat;
            waves[c * frames + i] = shape_of(turns, fmin(0.002 * hz, 0.25) + 1e-12, shape);
        }
    }
    for (int64_t c = 0; c < channels; c++) {
        const double *sound = x + (c < x_channels ? c : x_channels - 1) * frames;
        for (int64_t i = 0; i < frames; i++)
            y[c * frames + i] = (1.0 + depth[i] * waves[c * frames + i]) * sound[i];
    }
}
