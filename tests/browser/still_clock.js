// The audio clock of a page that is tested: it stands still while orders are given, however long that takes.
{
  const LENGTH_S = 6;
  const QUANTUM = 128;

  AudioContext = class extends OfflineAudioContext {
    constructor({ sampleRate }) {
      super(1, LENGTH_S * sampleRate, sampleRate);
    }

    get state() {
      return "running";
    }

    /** Go on for so long, and to the next whole quantum of frames. */
    async advance(seconds) {
      const frames = Math.round((this.currentTime + seconds) * this.sampleRate);
      const there = this.suspend((Math.ceil(frames / QUANTUM) * QUANTUM) / this.sampleRate);
      if (this.rendering) this.resume();
      else this.rendering = this.startRendering();
      await there;
    }

    /** The samples that have left the page until now; with that the clock is at its end. */
    async all() {
      const frames = Math.round(this.currentTime * this.sampleRate);
      this.resume();
      return (await this.rendering).getChannelData(0).slice(0, frames);
    }
  };
}
