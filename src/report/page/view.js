// From the part's plane to the screen and back: px = x0 + s x, y up.

class View {
  constructor() {
    this.scale = 1;
    this.x0 = 0;
    this.y0 = 0;
    this.width = 1;
    this.height = 1;
  }

  /** Shows a box as large as it goes, with room for the plate below. */
  fit([x0, y0, x1, y1]) {
    const room = 0.9, w = Math.max(x1 - x0, 1e-3), h = Math.max(y1 - y0, 1e-3);
    this.scale = room * Math.min(this.width / w, (this.height - 50) / h);
    this.x0 = this.width / 2 - this.scale * (x0 + x1) / 2;
    this.y0 = (this.height - 30) / 2 + this.scale * (y0 + y1) / 2;
  }

  zoom(px, py, factor) {
    const scale = Math.min(400, Math.max(0.02, this.scale * factor)), f = scale / this.scale;
    this.x0 = px + (this.x0 - px) * f;
    this.y0 = py + (this.y0 - py) * f;
    this.scale = scale;
  }

  /** A place in the middle of the sheet, near enough to see `span` mm. */
  centre(x, y, span) {
    this.scale = Math.max(this.scale, Math.min(this.width, this.height) / span);
    this.x0 = this.width / 2 - this.scale * x;
    this.y0 = this.height / 2 + this.scale * y;
  }

  pan(dx, dy) {
    this.x0 += dx;
    this.y0 += dy;
  }

  x(x) { return this.x0 + this.scale * x; }
  y(y) { return this.y0 - this.scale * y; }
  part(px, py) { return [(px - this.x0) / this.scale, (this.y0 - py) / this.scale]; }
}
