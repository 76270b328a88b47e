/* The same arithmetic as chainsim.blocks.ring_modulator.ring_modulate, in plain C: what its speed is compared with. */
#include <math.h>
#include <stdint.h>

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

/* x, y: channels rows of frames. */
void ring_modulator(const double *x, int64_t channels, int64_t frames, const double *carrier_hz, const double *dry,
                    const double *wet, double rate_hz, double *phase, double *y)
{
    double begin = *phase, step = 1.0 / rate_hz, p = begin;
    for (int64_t c = 0; c < channels; c++) {
        p = begin;
        for (int64_t i = 0; i < frames; i++) {
            y[c * frames + i] = (dry[i] + wet[i] * (sqrt(2.0) * sine_of_turns(p))) * x[c * frames + i];
            p += fmin(carrier_hz[i] * step, TOP);
            if (p >= 1.0)
                p -= 1.0;
        }
    }
    *phase = p;
}
