"use strict";
// The phone's own wake sound, vibration and screen lock. All need one touch first; `Alarm.ready` tells.
// The tone and its rhythm are those of the loudspeaker (channels/tone.py): 520 Hz, never three or four pulses alike.
const PULSE = 0.28, EDGE = 0.008, ROW = [0.70, 1.05, 0.70, 1.50, 1.20, 0.70, 1.05, 0.70, 1.20, 0.70, 1.20, 0.70, 1.05, 0.70, 1.20, 1.60];

class Alarm {
  constructor(told) {
    this.told = told;            // called when something about sound or screen changed
    this.context = null;
    this.gain = null;
    this.kind = "";              // "", "alarm" or "lost"
    this.until = 0;              // audio time up to which pulses are planned
    this.lock = null;
    this.lockWord = "";
    setInterval(() => this.plan(), 500);
    document.addEventListener("visibilitychange", () => { if (!document.hidden && this.context) { this.wake(); this.keepScreen(); } });
  }

  get ready() { return this.context !== null && this.context.state === "running"; }
  get screen() { return this.lock !== null; }

  // In a touch: turn everything on, and let it be heard.
  async unlock() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) { this.told(); return; }
    if (navigator.audioSession) navigator.audioSession.type = "playback";
    if (!this.context) {
      this.context = new Context();
      this.context.onstatechange = () => this.told();
      this.gain = this.context.createGain();
      this.gain.gain.value = 0.9;
      this.gain.connect(this.context.destination);
    }
    await this.wake();
    if (this.ready) { this.pulse(this.context.currentTime + 0.05, 0.3); this.pulse(this.context.currentTime + 0.55, 0.3); }
    if (navigator.vibrate) navigator.vibrate(200);
    await this.keepScreen();
    this.told();
  }

  async wake() {
    if (this.context && this.context.state !== "running") {
      try { await this.context.resume(); } catch (error) { /* `ready` stays false, and the page says so */ }
    }
  }

  async keepScreen() {
    if (!navigator.wakeLock) { this.lockWord = "this browser cannot keep the screen on: set the phone's own screen time to never"; return; }
    if (this.lock) return;
    try {
      this.lock = await navigator.wakeLock.request("screen");
      this.lock.addEventListener("release", () => { this.lock = null; this.told(); });
      this.lockWord = "";
    } catch (error) {
      this.lockWord = "the phone refused to keep the screen on: is it saving power?";
    }
  }

  // What has to sound from now on: "", "alarm" or "lost".
  sound(kind) {
    if (kind === this.kind) return;
    this.kind = kind;
    this.until = 0;
    if (this.gain) { this.gain.disconnect(); this.gain = this.context.createGain(); this.gain.gain.value = 0.9; this.gain.connect(this.context.destination); }
    if (!kind && navigator.vibrate) navigator.vibrate(0);
    this.plan();
  }

  // Plans a whole row ahead on the audio clock: a browser that holds back timers cannot thin it out.
  plan() {
    if (!this.kind) return;
    if (navigator.vibrate) navigator.vibrate([400, 200, 400]);
    if (!this.ready) { this.wake(); return; }
    const now = this.context.currentTime;
    if (this.until > now + 2) return;
    let at = Math.max(this.until, now + 0.05);
    for (const step of ROW) { this.pulse(at, 1); at += step; }
    this.until = at;
  }

  // One pulse; when nobody listens it falls in pitch, which tells the two apart by ear.
  pulse(at, level) {
    const tone = this.context.createOscillator(), edge = this.context.createGain();
    tone.type = "square";
    tone.frequency.setValueAtTime(520, at);
    if (this.kind === "lost") tone.frequency.linearRampToValueAtTime(390, at + PULSE);
    edge.gain.setValueAtTime(0, at);
    edge.gain.linearRampToValueAtTime(level, at + EDGE);
    edge.gain.setValueAtTime(level, at + PULSE - EDGE);
    edge.gain.linearRampToValueAtTime(0, at + PULSE);
    tone.connect(edge);
    edge.connect(this.gain);
    tone.start(at);
    tone.stop(at + PULSE + 0.01);
    tone.onended = () => { tone.disconnect(); edge.disconnect(); };
  }
}
