// What the page holds, unpacked: words as they are, numbers from one compressed block of typed columns.
(function (rm) {
  "use strict";

  const ARRAYS = { u8: Uint8Array, u16: Uint16Array, u32: Uint32Array, i16: Int16Array, i32: Int32Array };
  const LOWEST_POWER = -9;
  const NO_U16 = 65535;
  const NO_I16 = -32768;
  const DECIBEL_ZERO = 32768;
  const NO_SOUND = 1;

  /** Return the bytes of base64 text that holds a zlib stream. */
  async function unpack(text) {
    const packed = atob(text.trim());
    const bytes = new Uint8Array(packed.length);
    for (let i = 0; i < packed.length; i += 1) bytes[i] = packed.charCodeAt(i);
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).arrayBuffer();
  }

  /** Return `count` whole numbers written seven bits a byte, sign folded into the lowest bit. */
  function varints(buffer, offset, count) {
    const bytes = new Uint8Array(buffer, offset);
    const out = new Int32Array(count);
    let at = 0;
    for (let i = 0; i < count; i += 1) {
      let value = 0;
      let shift = 0;
      let byte = 0;
      do {
        byte = bytes[at];
        at += 1;
        value |= (byte & 127) << shift;
        shift += 7;
      } while (byte & 128);
      out[i] = (value >>> 1) ^ -(value & 1);
    }
    return out;
  }

  /** Return where each of consecutive runs of these lengths starts, and the end as one entry more. */
  function starts(lengths) {
    const out = new Int32Array(lengths.length + 1);
    for (let i = 0; i < lengths.length; i += 1) out[i + 1] = out[i] + lengths[i];
    return out;
  }

  class Data {
    constructor(head, buffer) {
      this.head = head;
      this.buffer = buffer;
      this.cache = new Map();
      this.ids = this.column("receptors.ids");
      this.names = this.column("receptors.names");
      this.kinds = this.column("findings.kinds");
      this.receptors = this.ids.length;
      this.first = starts(this.column("findings.count"));
      this.wordIndex = Object.fromEntries(head.words.map((word, index) => [word.id, index]));
    }

    has(name) {
      return name in this.head.columns;
    }

    column(name) {
      if (!this.cache.has(name)) {
        this.cache.set(name, this.read(...this.head.columns[name]));
      }
      return this.cache.get(name);
    }

    read(kind, offset, count) {
      if (kind === "json") return JSON.parse(new TextDecoder().decode(new Uint8Array(this.buffer, offset, count)));
      return kind === "varint" ? varints(this.buffer, offset, count) : new ARRAYS[kind](this.buffer, offset, count);
    }

    /** Return the word that a column of words has at a row. */
    word(name, row) {
      return this.column(`${name}.words`)[this.column(name)[row]];
    }

    /** Return a layer's shapes: per shape `kind`, its parts and its `box` x0, y0, x1, y1; per part its points. */
    shapes(name) {
      const key = `${name}.shapes`;
      if (!this.cache.has(key)) this.cache.set(key, this.readShapes(name));
      return this.cache.get(key);
    }

    readShapes(name) {
      const steps = this.column(`${name}.xy`);
      const x = new Int32Array(steps.length / 2);
      const y = new Int32Array(steps.length / 2);
      for (let i = 0; i < x.length; i += 1) {
        x[i] = steps[2 * i] + (i ? x[i - 1] : 0);
        y[i] = steps[2 * i + 1] + (i ? y[i - 1] : 0);
      }
      const kind = this.column(`${name}.kind`);
      const part = starts(this.column(`${name}.parts`));
      const point = starts(this.column(`${name}.sizes`));
      const box = new Int32Array(4 * kind.length);
      for (let shape = 0; shape < kind.length; shape += 1) {
        const from = point[part[shape]];
        const to = point[part[shape + 1]];
        let [x0, y0, x1, y1] = [x[from], y[from], x[from], y[from]];
        for (let i = from + 1; i < to; i += 1) {
          x0 = Math.min(x0, x[i]);
          x1 = Math.max(x1, x[i]);
          y0 = Math.min(y0, y[i]);
          y1 = Math.max(y1, y[i]);
        }
        box.set([x0, y0, x1, y1], 4 * shape);
      }
      return { x, y, kind, part, point, box, count: kind.length };
    }

    /** Return where the receptors' marks stand, as `x` and `y`. */
    anchors() {
      if (!this.cache.has("anchors")) {
        const xy = this.column("receptors.anchor");
        this.cache.set("anchors", { x: xy.filter((_, i) => i % 2 === 0), y: xy.filter((_, i) => i % 2 === 1) });
      }
      return this.cache.get("anchors");
    }

    placed(receptor) {
      return this.column("receptors.kind")[receptor] !== 0;
    }

    kind(finding) {
      return this.kinds[this.column("findings.kind")[finding]];
    }

    use(receptor) {
      return rm.plain(this.word("receptors.use", receptor));
    }

    name(receptor) {
      return this.names[receptor] || "";
    }

    /** Return the distance to the nearest pile in m, or null where the place stays out. */
    distance(receptor) {
      const tenths = this.column("receptors.distance")[receptor];
      return tenths < 0 ? null : tenths / 10;
    }

    /** Return a level as text with its unit; levels are stored rounded to three digits, decibels to one decimal. */
    level(name, finding) {
      if (!this.has(`findings.${name}`)) return "";
      const code = this.column(`findings.${name}`)[finding];
      const { decibel, unit } = this.kind(finding);
      if (code === 0) return "";
      const shown = unit === "1" ? "" : ` ${decibel ? "dB" : unit.replace("um/s", "µm/s")}`;
      if (decibel) return code === NO_SOUND ? "no sound" : `${((code - DECIBEL_ZERO) / 10).toFixed(1)}${shown}`;
      return rm.threeDigits(code) + shown;
    }

    /** Return a column of steps as a number, or null where it holds none. */
    number(name, finding, perUnit) {
      if (!this.has(`findings.${name}`)) return null;
      const column = this.column(`findings.${name}`);
      const code = column[finding];
      return code === (column instanceof Int16Array ? NO_I16 : NO_U16) ? null : code / perUnit;
    }

    margin(finding) {
      return this.number("margin_db", finding, 10);
    }
  }

  /** Return a code of three significant digits as text: (power + 9) * 1000 + the digits; 1 is zero. */
  rm.threeDigits = function (code) {
    if (code === 1) return "0";
    const power = Math.floor(code / 1000) + LOWEST_POWER;
    const value = (code % 1000) * 10 ** (power - 2);
    return power >= 2 ? String(Math.round(value)) : value.toFixed(2 - power);
  };

  /** Return a chance as text. */
  rm.chance = function (chance) {
    if (chance === null) return "";
    const percent = 100 * chance;
    if (percent < 0.1) return "below 0.1 %";
    if (percent > 99.9) return "above 99.9 %";
    return `${percent < 10 || percent > 99 ? percent.toFixed(1) : percent.toFixed(0)} %`;
  };

  /** Return a margin in dB as text, its sign always written. */
  rm.margin = function (margin) {
    if (margin === null) return "";
    const text = Math.abs(margin).toFixed(1);
    return `${margin < 0 ? "−" : "+"}${text} dB`;
  };

  /** Return an identifier as words. */
  rm.plain = function (text) {
    return text.replaceAll("_", " ");
  };

  /** Return an element with text and attributes; what it's given as text never becomes markup. */
  rm.make = function (tag, attributes = {}, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (value === true) element.setAttribute(name, "");
      else if (value !== false && value !== null) element.setAttribute(name, value);
    }
    element.append(...children);
    return element;
  };

  rm.load = async function (head, text) {
    return new Data(head, await unpack(text));
  };
})((window.riskMap = window.riskMap || {}));
