"use strict";
// The figure in its stone, drawn by WebGL 2: turned by dragging, by touch or by the arrow keys.
(() => {
  const canvas = document.getElementById("view"), slider = document.getElementById("stage");
  const said = document.getElementById("stage-words"), us = document.getElementById("in-us");
  const scene = JSON.parse(document.getElementById("scene").textContent);
  const decode = (text, kind) => {
    const raw = atob(text), bytes = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
    return new kind(bytes.buffer);
  };
  const shown = {figure: true, stone: true, pieces: true, undercuts: false};
  const words = () => {
    const stage = scene.stages[+slider.value];
    said.textContent = us && us.checked ? stage.us : stage.metric;
    slider.setAttribute("aria-valuetext", said.textContent);
  };
  const gl = canvas.getContext("webgl2", {antialias: true, preserveDrawingBuffer: true});
  if (!gl) {
    document.getElementById("no-view").hidden = false;
    slider.addEventListener("input", words);
    words();
    document.body.dataset.ready = "yes";
    return;
  }
  const build = (vertex, fragment) => {
    const program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, "#version 300 es\nprecision highp float;\n" + source);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    return program;
  };
  // Positions are 16 bits of the scene's box; light comes over the viewer's left shoulder, from flat faces.
  const program = build(
    `in vec3 place; uniform mat4 turned; uniform vec3 low, size; out vec3 seen;
     void main() { vec4 at = turned * vec4(low + place * size, 1.0); seen = at.xyz; gl_Position = vec4(at.xy, at.z * 0.5, 1.0); gl_PointSize = 4.0; }`,
    `in vec3 seen; uniform vec4 colour; uniform float lit; out vec4 drawn;
     void main() { vec3 n = normalize(cross(dFdx(seen), dFdy(seen)));
       float light = mix(1.0, 0.35 + 0.65 * abs(dot(n, normalize(vec3(-0.45, 0.5, -0.75)))), lit);
       drawn = vec4(colour.rgb * light * colour.a, colour.a); }`);
  gl.useProgram(program);
  const uniform = name => gl.getUniformLocation(program, name);
  const [turned, low, size, colour, lit] = ["turned", "low", "size", "colour", "lit"].map(uniform);
  const place = gl.getAttribLocation(program, "place");
  const parts = scene.parts.map(part => {
    const points = gl.createBuffer(), indices = gl.createBuffer();
    gl.bindBuffer(gl.ARRAY_BUFFER, points);
    gl.bufferData(gl.ARRAY_BUFFER, decode(part.points, Uint16Array), gl.STATIC_DRAW);
    const order = decode(part.indices, Uint32Array);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, indices);
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, order, gl.STATIC_DRAW);
    return {...part, buffers: [points, indices], count: order.length};
  });
  let azimuth = -0.55, height = 0.3, zoom = 1, waiting = false;
  const ink = () => matchMedia("(prefers-color-scheme: dark)").matches ? 0.88 : 0.12;
  function draw() {
    waiting = false;
    const ratio = Math.min(devicePixelRatio || 1, 1.5);
    const [wide, tall] = [canvas.clientWidth * ratio | 0, canvas.clientHeight * ratio | 0];
    if (canvas.width !== wide || canvas.height !== tall) { canvas.width = wide; canvas.height = tall; }
    gl.viewport(0, 0, wide, tall);
    gl.clearColor(0, 0, 0, 0);
    gl.depthMask(true);  // or the depths of the frame before would stay
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const [ca, sa, ch, sh] = [Math.cos(azimuth), Math.sin(azimuth), Math.cos(height), Math.sin(height)];
    const rows = [[ca, sa, 0], [-sa * sh, ca * sh, ch], [-sa * ch, ca * ch, -sh]];
    const middle = scene.low.map((value, k) => value + scene.size[k] / 2), reach = Math.hypot(...scene.size) / 2;
    const scale = zoom / reach, narrow = Math.min(wide, tall);
    const stretch = [scale * narrow / wide, scale * narrow / tall, 0.9 / reach];
    const matrix = new Float32Array(16);
    rows.forEach((row, r) => {
      row.forEach((value, c) => { matrix[c * 4 + r] = value * stretch[r]; });
      matrix[12 + r] = -stretch[r] * row.reduce((sum, value, c) => sum + value * middle[c], 0);
    });
    matrix[15] = 1;
    gl.uniformMatrix4fv(turned, false, matrix);
    gl.uniform3fv(low, scene.low);
    gl.uniform3fv(size, scene.size);
    gl.enableVertexAttribArray(place);
    const stage = +slider.value;
    const paint = (part, mode, rgb, alpha, light) => {
      gl.bindBuffer(gl.ARRAY_BUFFER, part.buffers[0]);
      gl.vertexAttribPointer(place, 3, gl.UNSIGNED_SHORT, true, 0, 0);
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, part.buffers[1]);
      gl.uniform4f(colour, ...rgb, alpha);
      gl.uniform1f(lit, light);
      gl.drawElements(mode, part.count, gl.UNSIGNED_INT, 0);
    };
    gl.enable(gl.DEPTH_TEST);
    gl.disable(gl.BLEND);
    const now = parts.filter(part => shown[part.group] && part.from <= stage && stage <= part.to);
    for (const part of now) {
      if (part.group === "figure") paint(part, gl.TRIANGLES, [0.80, 0.77, 0.70], 1, 1);
      if (part.group === "undercuts") paint(part, gl.POINTS, [0.70, 0.22, 0.18], 1, 0);
    }
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    for (const part of now) {
      if (part.group === "stone" && part.kind === "faces") paint(part, gl.TRIANGLES, [0.62, 0.66, 0.70], 0.16, 1);
      if (part.group === "pieces") paint(part, gl.TRIANGLES, [0.85, 0.55, 0.20], 0.30, 1);
    }
    for (const part of now) {
      if (part.group === "stone" && part.kind === "edges") paint(part, gl.LINES, [ink(), ink(), ink()], 1, 0);
    }
  }
  const ask = () => { if (!waiting) { waiting = true; requestAnimationFrame(draw); } };
  const turn = (right, up) => { azimuth -= right; height = Math.max(-1.5, Math.min(1.5, height + up)); ask(); };
  const pointers = new Map();
  canvas.addEventListener("pointerdown", e => { canvas.setPointerCapture(e.pointerId); pointers.set(e.pointerId, [e.clientX, e.clientY]); });
  canvas.addEventListener("pointermove", e => {
    if (!pointers.has(e.pointerId)) return;
    const [x, y] = pointers.get(e.pointerId);
    if (pointers.size === 2) {
      const other = [...pointers].find(([id]) => id !== e.pointerId)[1];
      zoom *= Math.hypot(e.clientX - other[0], e.clientY - other[1]) / Math.max(1, Math.hypot(x - other[0], y - other[1]));
      zoom = Math.max(0.4, Math.min(12, zoom));
      ask();
    } else turn((e.clientX - x) / 150, (e.clientY - y) / 150);
    pointers.set(e.pointerId, [e.clientX, e.clientY]);
  });
  for (const kind of ["pointerup", "pointercancel"]) canvas.addEventListener(kind, e => pointers.delete(e.pointerId));
  canvas.addEventListener("wheel", e => {
    if (!e.ctrlKey && document.activeElement !== canvas) return;
    e.preventDefault();
    zoom = Math.max(0.4, Math.min(12, zoom * Math.exp(-e.deltaY / 400)));
    ask();
  }, {passive: false});
  canvas.addEventListener("keydown", e => {
    const step = {ArrowLeft: [-0.15, 0], ArrowRight: [0.15, 0], ArrowUp: [0, 0.15], ArrowDown: [0, -0.15]}[e.key];
    if (step) { turn(...step); e.preventDefault(); }
    if (e.key === "+" || e.key === "-") { zoom = Math.max(0.4, Math.min(12, zoom * (e.key === "+" ? 1.2 : 1 / 1.2))); ask(); }
  });
  document.querySelectorAll("#three input[type=checkbox]").forEach(box =>
    box.addEventListener("change", () => { shown[box.value] = box.checked; ask(); }));
  document.querySelectorAll("input[name=units]").forEach(box => box.addEventListener("change", words));
  slider.addEventListener("input", () => { words(); ask(); });
  new ResizeObserver(ask).observe(canvas);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", ask);
  words();
  draw();
  document.body.dataset.ready = "yes";
})();
