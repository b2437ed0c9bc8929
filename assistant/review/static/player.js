// One clock for replay: the session's sound where there is some, else a clock of its own. Times are session milliseconds.
"use strict";
class Player {
  constructor(totalMs, sound, onTime, onState, onNote) {
    this.total = totalMs;
    this.sound = sound;
    this.onTime = onTime;
    this.onState = onState;
    this.onNote = onNote;
    this.rate = 1;
    this.playing = false;
    this.own = !sound; // true: the clock of our own drives
    this.at = 0;
    this.last = 0;
    if (sound) {
      sound.addEventListener("error", () => this.withoutSound("The session’s sound can’t be played here. Replay goes on without it."));
      sound.addEventListener("ended", () => { if (!this.own) this.pause(); });
    }
    this.frame = this.frame.bind(this);
  }

  withoutSound(note) {
    if (this.own) return;
    this.own = true;
    this.last = performance.now();
    if (this.sound) this.sound.pause();
    this.onNote(note);
  }

  now() {
    return this.at;
  }

  seek(ms) {
    this.at = Math.max(0, Math.min(this.total, ms));
    if (this.sound && !this.own) this.sound.currentTime = this.at / 1000;
    else if (this.sound && this.sound.readyState > 0) this.sound.currentTime = this.at / 1000;
    this.last = performance.now();
    this.onTime(this.at, true);
  }

  setRate(rate) {
    this.rate = rate;
    if (!this.sound || this.sound.error) return;
    try {
      this.sound.preservesPitch = true;
      this.sound.playbackRate = rate;
      if (this.own) {
        this.own = false;
        this.sound.currentTime = this.at / 1000;
        this.onNote("");
        if (this.playing) this.startSound();
      }
    } catch {
      // This browser's media element doesn't go so fast: the clock does, and it is said that the sound doesn't.
      this.withoutSound("At " + rate + "× this browser plays no sound. The time line goes on without it.");
    }
  }

  startSound() {
    const started = this.sound.play();
    if (started) started.catch(() => this.withoutSound("The browser did not let the sound start. Replay goes on without it."));
  }

  play() {
    if (this.playing) return;
    if (this.at >= this.total) this.seek(0);
    this.playing = true;
    this.last = performance.now();
    if (!this.own) { this.sound.currentTime = this.at / 1000; this.startSound(); }
    this.onState(true);
    requestAnimationFrame(this.frame);
  }

  pause() {
    if (!this.playing) return;
    this.playing = false;
    if (this.sound) this.sound.pause();
    this.onState(false);
    this.onTime(this.at, true);
  }

  frame(stamp) {
    if (!this.playing) return;
    if (this.own) {
      this.at += Math.max(0, stamp - this.last) * this.rate;
      this.last = stamp;
    } else {
      this.at = this.sound.currentTime * 1000;
    }
    if (this.at >= this.total) { this.at = this.total; this.pause(); return; }
    this.onTime(this.at, false);
    requestAnimationFrame(this.frame);
  }
}
