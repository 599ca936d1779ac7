// The marks of the likelihoods: one shape and colour per word, the same on the map, in the list and in the legend.
(function (rm) {
  "use strict";

  const PAPER = "#ffffff";
  const INK = "#1f2830";
  const TOO_SMALL = 3.2;

  /** Trace the outline of a shape around (x, y). */
  const OUTLINES = {
    "square with a cross": (ctx, x, y, r) => ctx.rect(x - 0.9 * r, y - 0.9 * r, 1.8 * r, 1.8 * r),
    triangle: (ctx, x, y, r) => {
      ctx.moveTo(x, y - 1.15 * r);
      ctx.lineTo(x + 1.1 * r, y + 0.8 * r);
      ctx.lineTo(x - 1.1 * r, y + 0.8 * r);
      ctx.closePath();
    },
    diamond: (ctx, x, y, r) => {
      ctx.moveTo(x, y - 1.2 * r);
      ctx.lineTo(x + 1.05 * r, y);
      ctx.lineTo(x, y + 1.2 * r);
      ctx.lineTo(x - 1.05 * r, y);
      ctx.closePath();
    },
    bar: (ctx, x, y, r) => ctx.rect(x - 0.9 * r, y - 0.3 * r, 1.8 * r, 0.6 * r),
    "small dot": (ctx, x, y, r) => ctx.arc(x, y, 0.42 * r, 0, 2 * Math.PI),
    circle: (ctx, x, y, r) => ctx.arc(x, y, 0.95 * r, 0, 2 * Math.PI),
  };

  /** Draw what stands inside a shape. */
  const INSIDES = {
    "square with a cross": (ctx, x, y, r) => {
      const arm = 0.5 * r;
      ctx.beginPath();
      ctx.moveTo(x - arm, y - arm);
      ctx.lineTo(x + arm, y + arm);
      ctx.moveTo(x + arm, y - arm);
      ctx.lineTo(x - arm, y + arm);
      ctx.stroke();
    },
    "circle with a question mark": (ctx, x, y, r) => {
      if (r < 4) return;
      ctx.font = `bold ${Math.round(1.5 * r)}px ${rm.FONT}`;
      ctx.textAlign = "center";
      ctx.textBaseline = "middle";
      ctx.fillText("?", x, y + 0.08 * r);
    },
  };

  rm.FONT = '"Liberation Sans", Arial, Helvetica, sans-serif';

  /** Draw the mark of a word with radius `r`, on a thin light edge that parts it from whatever lies below. */
  rm.drawMark = function (ctx, word, x, y, r) {
    const outline = OUTLINES[word.shape] || OUTLINES.circle;
    ctx.save();
    ctx.lineJoin = "round";
    ctx.beginPath();
    outline(ctx, x, y, r);
    ctx.strokeStyle = PAPER;
    ctx.lineWidth = Math.max(1, 0.5 * r);
    ctx.stroke();
    ctx.fillStyle = word.fill;
    ctx.fill();
    ctx.strokeStyle = word.shape === "square with a cross" ? word.fill : word.ink;
    ctx.lineWidth = Math.max(0.6, 0.17 * r);
    if (word.shape !== "triangle") ctx.stroke();
    if (INSIDES[word.shape]) {
      ctx.strokeStyle = word.ink;
      ctx.fillStyle = word.ink;
      ctx.lineWidth = Math.max(1, 0.28 * r);
      INSIDES[word.shape](ctx, x, y, r);
    }
    ctx.restore();
  };

  /** Draw the dashed ring that says: outside the law's valid range. */
  rm.drawRing = function (ctx, x, y, r) {
    const small = r < 4.5;
    ctx.save();
    ctx.beginPath();
    ctx.arc(x, y, r + (small ? 1.8 : 3.2), 0, 2 * Math.PI);
    ctx.setLineDash(small ? [2, 1.6] : [3, 2.4]);
    ctx.lineWidth = small ? 0.9 : 1.4;
    ctx.strokeStyle = INK;
    ctx.stroke();
    ctx.restore();
  };

  /** Draw the tick that says: verify. */
  rm.drawVerify = function (ctx, x, y, r) {
    ctx.save();
    ctx.font = `italic bold ${Math.max(9, Math.round(1.3 * r))}px ${rm.FONT}`;
    ctx.textAlign = "left";
    ctx.textBaseline = "alphabetic";
    ctx.lineWidth = 2.5;
    ctx.strokeStyle = PAPER;
    ctx.strokeText("v", x + 0.95 * r, y - 0.55 * r);
    ctx.fillStyle = INK;
    ctx.fillText("v", x + 0.95 * r, y - 0.55 * r);
    ctx.restore();
  };

  /** Return a small picture of a mark for the list, the legend or a heading. */
  rm.markPicture = function (word, { ring = false, verify = false, size = 22 } = {}) {
    const ratio = Math.max(2, window.devicePixelRatio || 1);
    const canvas = rm.make("canvas", {
      class: "rm-mark",
      width: size * ratio,
      height: size * ratio,
      "aria-hidden": "true",
    });
    canvas.style.width = `${size}px`;
    canvas.style.height = `${size}px`;
    const ctx = canvas.getContext("2d");
    ctx.scale(ratio, ratio);
    if (word) rm.drawMark(ctx, word, size / 2, size / 2, size * 0.3);
    if (ring) rm.drawRing(ctx, size / 2, size / 2, size * 0.3);
    if (verify) rm.drawVerify(ctx, size * 0.1, size * 0.85, size * 0.5);
    return canvas;
  };

  /** Return stamps of every word's mark at radius `r`, inside and out of range: drawing thousands of them costs little.
   *  Where marks are too small for a ring, those out of range are paler. */
  rm.stamps = function (words, r, ratio) {
    const half = Math.ceil(1.6 * r + 4);
    const stamp = (word, outside) => {
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(2 * half * ratio);
      canvas.height = canvas.width;
      const ctx = canvas.getContext("2d");
      ctx.scale(ratio, ratio);
      if (outside && r < TOO_SMALL) ctx.globalAlpha = 0.45;
      rm.drawMark(ctx, word, half, half, r);
      if (outside && r >= TOO_SMALL) rm.drawRing(ctx, half, half, r);
      return canvas;
    };
    return { inside: words.map((word) => stamp(word, false)), outside: words.map((word) => stamp(word, true)), half };
  };

  /** Keeps texts on the map from lying on one another. */
  rm.Labels = class {
    constructor(ctx) {
      this.ctx = ctx;
      this.boxes = [];
    }

    free(box) {
      return this.boxes.every(
        (other) => box[2] < other[0] || box[0] > other[2] || box[3] < other[1] || box[1] > other[3],
      );
    }

    block(x, y, r) {
      this.boxes.push([x - r, y - r, x + r, y + r]);
    }

    width(text, size, bold) {
      this.ctx.font = `${bold ? "bold " : ""}${size}px ${rm.FONT}`;
      return this.ctx.measureText(text).width;
    }

    /** Write a text if its place is free and return whether it was. */
    write(text, x, y, { colour = INK, size = 11, bold = false, align = "left", angle = 0, halo = 3.5 } = {}) {
      const { ctx } = this;
      const width = this.width(text, size, bold);
      const left = align === "center" ? x - width / 2 : x;
      const reach = angle ? (width / 2) * Math.abs(Math.sin(angle)) : 0;
      const box = [left - 2, y - size * 0.6 - reach, left + width + 2, y + size * 0.6 + reach];
      if (!this.free(box)) return false;
      this.boxes.push(box);
      ctx.save();
      ctx.translate(x, y);
      ctx.rotate(angle);
      ctx.textAlign = align;
      ctx.textBaseline = "middle";
      ctx.lineJoin = "round";
      ctx.lineWidth = halo;
      ctx.strokeStyle = "rgba(255,255,255,0.92)";
      ctx.strokeText(text, 0, 0);
      ctx.fillStyle = colour;
      ctx.fillText(text, 0, 0);
      ctx.restore();
      return true;
    }
  };
})((window.riskMap = window.riskMap || {}));
