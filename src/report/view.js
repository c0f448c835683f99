// The 3-D view: shapes from the page's own text, skinned on the graphics card from joint matrices per frame.
// Parallel projection, the same light, greys and colours as the still pictures. Draws only when something changed.
(() => {
  'use strict';
  const room = document.getElementById('view');
  const list = document.getElementById('models');
  if (!room || !list) return;
  const models = JSON.parse(list.textContent);
  const part = (name) => room.querySelector(`[data-part="${name}"]`);
  const canvas = part('canvas');
  const still = matchMedia('(prefers-reduced-motion: reduce)');
  const BODY = [172, 172, 173], CLOTH = [118, 138, 150], BENEATH = [150, 134, 118], PAPER = [243, 241, 236];
  const COLOURS = ['440154', '482475', '414487', '355f8d', '2a788e', '21918c', '22a884', '44bf70', '7ad151', 'bddf26', 'fde725'];
  const PLAY_MS = 340; // under three changes a second

  const VERTEX = `#version 300 es
    precision highp float; precision highp int; precision highp sampler2D;
    in vec3 a_at; in vec3 a_normal; in uvec4 a_joint0; in uvec4 a_joint1; in vec4 a_weight0; in vec4 a_weight1; in float a_value;
    uniform sampler2D u_joints; uniform vec3 u_low, u_span, u_right, u_up, u_toward, u_target, u_size; uniform int u_joint;
    out vec3 v_normal; out float v_value;
    vec4 row(uint joint, int which) { return texelFetch(u_joints, ivec2(int(joint % 256u) * 3 + which, int(joint / 256u)), 0); }
    void main() {
      vec4 x = vec4(0.0), y = vec4(0.0), z = vec4(0.0); float of_joint = 0.0;
      for (int i = 0; i < 8; i++) {
        uint joint = i < 4 ? a_joint0[i] : a_joint1[i - 4];
        float weight = i < 4 ? a_weight0[i] : a_weight1[i - 4];
        if (weight <= 0.0) continue;
        x += weight * row(joint, 0); y += weight * row(joint, 1); z += weight * row(joint, 2);
        if (int(joint) == u_joint) of_joint += weight;
      }
      vec4 at = vec4(u_low + a_at * u_span, 1.0);
      vec3 posed = vec3(dot(x, at), dot(y, at), dot(z, at)) - u_target;
      v_normal = vec3(dot(x.xyz, a_normal), dot(y.xyz, a_normal), dot(z.xyz, a_normal));
      v_value = u_joint >= 0 ? of_joint * 254.0 / 255.0 + 1.0 / 255.0 : a_value;
      if (u_joint >= 0 && of_joint <= 0.0) v_value = 0.0;
      gl_Position = vec4(dot(u_right, posed) / u_size.x, dot(u_up, posed) / u_size.y, -dot(u_toward, posed) / u_size.z, 1.0);
    }`;
  const FRAGMENT = `#version 300 es
    precision highp float;
    in vec3 v_normal; in float v_value;
    uniform vec3 u_plain, u_right, u_up, u_toward; uniform vec3 u_colours[11]; uniform float u_limit, u_alpha;
    out vec4 o_colour;
    void main() {
      vec3 normal = normalize(v_normal);
      vec3 seen = vec3(dot(normal, u_right), dot(normal, u_up), dot(normal, u_toward));
      bool behind = seen.z < 0.0;
      if (behind) { seen = -seen; normal = -normal; }
      float bright = 0.36 + 0.16 * (0.5 + 0.5 * normal.y) + 0.50 * max(dot(seen, vec3(-0.42, 0.54, 0.73)), 0.0)
        + 0.16 * max(dot(seen, vec3(0.80, 0.05, 0.60)), 0.0) + 0.06 * seen.z;
      if (behind) bright *= 0.78;
      float place = (v_value * 255.0 - 1.0) / 254.0;
      vec3 colour = u_plain;
      float edge = fwidth(place);
      if (place > 0.0) {
        float along = clamp(place, 0.0, 1.0) * 10.0;
        int low = min(int(along), 9);
        colour = mix(u_colours[low], u_colours[low + 1], along - float(low));
        bright = 0.5 + 0.5 * bright;
        if (u_limit >= 0.0 && edge < 0.2 && abs(place - u_limit) < edge * 0.9) { colour = vec3(0.11, 0.09, 0.125); bright = 1.0; }
      }
      o_colour = vec4(min(colour * bright, 1.0) * u_alpha, u_alpha);
    }`;

  let gl = null, program = null, place = null;
  const blobs = new Map();   // id -> promise of bytes
  const drawn = new Map();   // shape id -> buffers
  let model = null, head = null, frames = null;
  const state = { pose: 0, frame: 0, colour: '', turn: 25, tilt: 8, target: [0, 0.9, 0], half: 1, body: true, garment: true, glass: false };
  let home = null, timer = 0, asked = false;

  function bytes(id) {
    if (!blobs.has(id)) {
      const text = document.getElementById(id).textContent;
      const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
      const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('deflate'));
      blobs.set(id, new Response(stream).arrayBuffer());
    }
    return blobs.get(id);
  }

  function missing() {
    part('missing').hidden = false;
    part('tools').hidden = true;
    canvas.hidden = true;
  }

  function start() {
    if (gl) return true;
    gl = typeof DecompressionStream === 'function' && canvas.getContext('webgl2', { antialias: true, preserveDrawingBuffer: true });
    if (!gl) { missing(); return false; }
    program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) { gl = null; missing(); return false; }
    gl.useProgram(program);
    place = (name) => gl.getUniformLocation(program, name);
    gl.uniform3fv(place('u_colours'), COLOURS.flatMap((hex) => [0, 2, 4].map((at) => parseInt(hex.slice(at, at + 2), 16) / 255)));
    gl.enable(gl.DEPTH_TEST);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    canvas.addEventListener('webglcontextlost', missing);
    new ResizeObserver(draw).observe(canvas);
    return true;
  }

  // Normals at the bind, smooth over vertices that lie on each other (seams of the texture).
  function normals(points, corners) {
    const count = points.length / 3, first = new Map(), owner = new Uint32Array(count), sum = new Float32Array(points.length);
    for (let v = 0; v < count; v++) {
      const key = (Math.fround(points[v * 3]) * 65536 + points[v * 3 + 1]) * 65536 + points[v * 3 + 2];
      if (!first.has(key)) first.set(key, v);
      owner[v] = first.get(key);
    }
    return (span) => {
      const at = (v, axis) => points[v * 3 + axis] * span[axis];
      for (let t = 0; t < corners.length; t += 3) {
        const [a, b, c] = [corners[t], corners[t + 1], corners[t + 2]];
        const e = [0, 1, 2].map((axis) => at(b, axis) - at(a, axis)), f = [0, 1, 2].map((axis) => at(c, axis) - at(a, axis));
        const n = [e[1] * f[2] - e[2] * f[1], e[2] * f[0] - e[0] * f[2], e[0] * f[1] - e[1] * f[0]];
        for (const v of [a, b, c]) for (let axis = 0; axis < 3; axis++) sum[owner[v] * 3 + axis] += n[axis];
      }
      const out = new Int8Array(count * 4);
      for (let v = 0; v < count; v++) {
        const n = sum.subarray(owner[v] * 3, owner[v] * 3 + 3), length = Math.hypot(...n) || 1;
        for (let axis = 0; axis < 3; axis++) out[v * 4 + axis] = Math.round(n[axis] / length * 127);
      }
      return out;
    };
  }

  async function upload(surface) {
    if (drawn.has(surface.shape)) return;
    const data = await bytes(surface.shape), v = surface.vertices, k = surface.influences;
    const points = new Uint16Array(data, 0, v * 3), joints = new Uint16Array(data, v * 6, v * k), weights = new Uint16Array(data, v * (6 + 2 * k), v * k);
    const from = Math.ceil(v * (6 + 4 * k) / 4) * 4, corners = new Uint32Array(data, from, surface.triangles * 3);
    const buffer = (kind, content) => { const made = gl.createBuffer(); gl.bindBuffer(kind, made); gl.bufferData(kind, content, gl.STATIC_DRAW); return made; };
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const feed = (name, size, type, normal, whole, stride, offset) => {
      const where = gl.getAttribLocation(program, name);
      if (where < 0) return;
      gl.enableVertexAttribArray(where);
      if (whole) gl.vertexAttribIPointer(where, size, type, stride, offset);
      else gl.vertexAttribPointer(where, size, type, normal, stride, offset);
    };
    buffer(gl.ARRAY_BUFFER, points); feed('a_at', 3, gl.UNSIGNED_SHORT, true, false, 0, 0);
    buffer(gl.ARRAY_BUFFER, normals(points, corners)(surface.span)); feed('a_normal', 3, gl.BYTE, true, false, 4, 0);
    buffer(gl.ARRAY_BUFFER, joints);
    feed('a_joint0', 4, gl.UNSIGNED_SHORT, false, true, k * 2, 0);
    if (k > 4) feed('a_joint1', 4, gl.UNSIGNED_SHORT, false, true, k * 2, 8);
    buffer(gl.ARRAY_BUFFER, weights);
    feed('a_weight0', 4, gl.UNSIGNED_SHORT, true, false, k * 2, 0);
    if (k > 4) feed('a_weight1', 4, gl.UNSIGNED_SHORT, true, false, k * 2, 8);
    const values = buffer(gl.ARRAY_BUFFER, new Uint8Array(v)); feed('a_value', 1, gl.UNSIGNED_BYTE, true, false, 1, 0);
    buffer(gl.ELEMENT_ARRAY_BUFFER, corners);
    gl.bindVertexArray(null);
    const texture = gl.createTexture();
    drawn.set(surface.shape, { array, values, texture, plain: new Uint8Array(v) });
  }

  function offsetOf(surface) {
    return head.surfaces.slice(0, surface).reduce((sum, s) => sum + s.joints.length * 48, 0);
  }

  function frameIndex() {
    return head.poses.slice(0, state.pose).reduce((sum, pose) => sum + pose.frames.length, 0) + state.frame;
  }

  // Matrices and values of the chosen frame to the card.
  function load(which) {
    const surface = head.surfaces[which], there = drawn.get(surface.shape), at = frameIndex() * head.stride;
    const joints = surface.joints.length, high = Math.max(1, Math.ceil(joints / 256)), rows = new Float32Array(256 * 3 * 4 * high);
    rows.set(new Float32Array(frames, at + offsetOf(which), joints * 12));
    gl.bindTexture(gl.TEXTURE_2D, there.texture);
    for (const side of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, side, gl.NEAREST);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA32F, 256 * 3, high, 0, gl.RGBA, gl.FLOAT, rows);
    let values = there.plain, before = offsetOf(head.surfaces.length);
    for (const scale of head.scales) {
      const length = head.surfaces[scale.surface].vertices;
      if (scale.surface === which && state.colour === `m:${scale.id}`) values = new Uint8Array(frames, at + before, length);
      before += length;
    }
    gl.bindBuffer(gl.ARRAY_BUFFER, there.values);
    gl.bufferSubData(gl.ARRAY_BUFFER, 0, values);
  }

  function basis() {
    const [turn, tilt] = [state.turn, state.tilt].map((degrees) => degrees * Math.PI / 180);
    const toward = [Math.sin(turn) * Math.cos(tilt), Math.sin(tilt), Math.cos(turn) * Math.cos(tilt)];
    const right = [Math.cos(turn), 0, -Math.sin(turn)];
    const up = [-Math.sin(turn) * Math.sin(tilt), Math.cos(tilt), -Math.cos(turn) * Math.sin(tilt)];
    return { toward, right, up };
  }

  function draw() {
    if (!gl || !head || asked) return;
    asked = true;
    requestAnimationFrame(paint);
  }

  function paint() {
    asked = false;
    const ratio = Math.min(devicePixelRatio || 1, 2), wide = Math.round(canvas.clientWidth * ratio), high = Math.round(canvas.clientHeight * ratio);
    if (!wide || !high) return;
    if (canvas.width !== wide || canvas.height !== high) { canvas.width = wide; canvas.height = high; }
    gl.viewport(0, 0, wide, high);
    gl.clearColor(...PAPER.map((c) => c / 255), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const { toward, right, up } = basis();
    gl.uniform3fv(place('u_toward'), toward);
    gl.uniform3fv(place('u_right'), right);
    gl.uniform3fv(place('u_up'), up);
    gl.uniform3fv(place('u_target'), state.target);
    const aspect = wide / high, half = state.half;
    gl.uniform3fv(place('u_size'), aspect > 1 ? [half * aspect, half, 4] : [half, half / aspect, 4]);
    const joint = state.colour.startsWith('j:') ? state.colour.slice(2) : null;
    const scale = head.scales.find((s) => state.colour === `m:${s.id}`);
    // A see-through body comes last, over what it must not hide.
    const order = head.surfaces.map((_, which) => which).reverse();
    for (const which of order) {
      const surface = head.surfaces[which], there = drawn.get(surface.shape);
      if (surface.body ? !state.body : !state.garment) continue;
      const glass = surface.body && state.glass;
      load(which);
      gl.uniform3fv(place('u_low'), surface.low);
      gl.uniform3fv(place('u_span'), surface.span);
      gl.uniform1i(place('u_joint'), joint === null ? -1 : surface.joints.indexOf(joint) < 0 ? 1 << 20 : surface.joints.indexOf(joint));
      gl.uniform3fv(place('u_plain'), (surface.body ? BODY : which === 1 ? CLOTH : BENEATH).map((c) => c / 255));
      gl.uniform1f(place('u_limit'), scale && scale.limit && scale.surface === which ? scale.limit[0] : -1);
      gl.uniform1f(place('u_alpha'), glass ? 0.35 : 1);
      glass ? gl.enable(gl.BLEND) : gl.disable(gl.BLEND);
      gl.bindVertexArray(there.array);
      gl.vertexAttribI4ui(gl.getAttribLocation(program, 'a_joint1'), 0, 0, 0, 0);
      gl.vertexAttrib4f(gl.getAttribLocation(program, 'a_weight1'), 0, 0, 0, 0);
      gl.drawElements(gl.TRIANGLES, surface.triangles * 3, gl.UNSIGNED_INT, 0);
    }
    gl.bindVertexArray(null);
    canvas.dataset.drawn = String(Number(canvas.dataset.drawn || 0) + 1);
  }

  // ---- what the reader chooses

  function option(value, text) {
    const made = document.createElement('option');
    made.value = value;
    made.textContent = text;
    return made;
  }

  function fill() {
    part('pose').replaceChildren(...head.poses.map((pose, at) => option(String(at), pose.name)));
    const measures = document.createElement('optgroup'), joints = document.createElement('optgroup');
    measures.label = 'What was measured';
    joints.label = 'How much a joint moves it';
    measures.append(...head.scales.map((scale) => option(`m:${scale.id}`, scale.title)));
    const names = [...new Set(head.surfaces.flatMap((surface) => surface.joints))];
    joints.append(...names.map((name) => option(`j:${name}`, name)));
    part('colour').replaceChildren(option('', 'Plain cloth'), measures, joints);
  }

  function tell() {
    const pose = head.poses[state.pose], [number, time] = pose.frames[state.frame];
    part('pose').value = String(state.pose);
    part('colour').value = state.colour;
    const slider = part('frame'), several = pose.frames.length > 1;
    slider.max = String(pose.frames.length - 1);
    slider.value = String(state.frame);
    slider.disabled = !several;
    part('play').disabled = !several;
    const moment = several ? `frame ${number}${time ? `, ${time}` : ''}` : 'one still pose';
    part('moment').textContent = moment;
    slider.setAttribute('aria-valuetext', moment);
    for (const name of ['body', 'garment', 'glass']) part(name).checked = state[name];
    canvas.setAttribute('aria-label', `${head.surfaces[1] ? head.surfaces[1].name : head.surfaces[0].name}, ${pose.name}, ${moment}. Arrow keys turn it, plus and minus come nearer and go back.`);
    legend();
    draw();
  }

  function legend() {
    const scale = head.scales.find((s) => state.colour === `m:${s.id}`), joint = state.colour.startsWith('j:');
    part('legend').hidden = !scale && !joint;
    part('low').textContent = scale ? scale.bottom : 'not at all';
    part('high').textContent = scale ? `${scale.top} and more` : 'alone';
    part('strip').style.background = `linear-gradient(90deg, ${COLOURS.map((c) => `#${c}`).join(', ')})`;
    const limit = scale && scale.limit;
    part('tick').hidden = !limit;
    part('limit').textContent = scale ? `${limit ? `Outlined from ${limit[1]} on. ` : ''}Up to ${scale.bottom} it stays plain.` : '';
    if (limit) part('tick').style.left = `${limit[0] * 100}%`;
  }

  function pause() {
    clearInterval(timer);
    timer = 0;
    part('play').textContent = still.matches ? 'Next frame' : 'Play';
    part('play').setAttribute('aria-pressed', 'false');
  }

  function step(by) {
    const count = head.poses[state.pose].frames.length;
    state.frame = (state.frame + by + count) % count;
    tell();
  }

  function play() {
    if (still.matches) return step(1);
    if (timer) return pause();
    timer = setInterval(() => step(1), PLAY_MS);
    part('play').textContent = 'Pause';
    part('play').setAttribute('aria-pressed', 'true');
  }

  // The whole of what is worn, from a little to the side.
  function whole() {
    const body = head.surfaces[0], high = Math.max(...body.span) / 2;
    const aspect = canvas.clientWidth / canvas.clientHeight || 1, wide = body.span[0] / 2;
    const half = aspect > 1 ? Math.max(high, wide / aspect) : Math.max(wide, high * aspect);
    Object.assign(state, { turn: 25, tilt: 8, half: half * 1.12, target: body.low.map((low, axis) => low + body.span[axis] / 2) });
  }

  async function show(wish) {
    if (!start()) return;
    pause();
    const next = models.find((m) => m.fitting === wish.fitting) || models[0];
    if (model !== next) {
      head = null;
      await Promise.all(next.surfaces.map(upload));
      frames = await bytes(next.frames);
      model = head = next;
      Object.assign(state, { pose: 0, frame: 0, colour: '' });
      fill();
      whole();
    }
    const pose = head.poses.findIndex((p) => p.key === wish.pose);
    if (pose >= 0) {
      state.pose = pose;
      state.frame = Math.max(0, head.poses[pose].frames.findIndex(([number]) => number === wish.frame));
    }
    if (wish.measure !== undefined) state.colour = head.scales.some((s) => s.id === wish.measure) ? `m:${wish.measure}` : '';
    if (wish.eye) {
      const [x, y, z] = wish.eye.toward;
      Object.assign(state, { turn: Math.atan2(x, z) * 180 / Math.PI, tilt: Math.asin(Math.max(-1, Math.min(1, y))) * 180 / Math.PI, target: wish.eye.target, half: wish.eye.half });
    }
    canvas.dataset.ready = 'yes';
    tell();
  }

  // ---- hands

  function pan(across, up) {
    const axes = basis();
    state.target = state.target.map((at, axis) => at + axes.right[axis] * across + axes.up[axis] * up);
  }

  function zoom(times) {
    state.half = Math.min(3, Math.max(0.01, state.half * times));
  }

  function turn(by, tilt) {
    state.turn += by;
    state.tilt = Math.max(-90, Math.min(90, state.tilt + tilt));
  }

  const fingers = new Map();
  canvas.addEventListener('pointerdown', (event) => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, event);
    canvas.focus({ preventScroll: true });
  });
  canvas.addEventListener('pointermove', (event) => {
    const before = fingers.get(event.pointerId);
    if (!before || !head) return;
    const [dx, dy] = [event.clientX - before.clientX, event.clientY - before.clientY];
    const metres = 2 * state.half / Math.min(canvas.clientWidth, canvas.clientHeight);
    if (fingers.size > 1) {
      const other = [...fingers.values()].find((finger) => finger.pointerId !== event.pointerId);
      const apart = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY) || 1;
      zoom(apart(before) / apart(event));
      pan(-dx * metres / 2, dy * metres / 2);
    } else if (event.shiftKey || event.buttons & 6) {
      pan(-dx * metres, dy * metres);
    } else {
      turn(-dx * 0.5, dy * 0.5);
    }
    fingers.set(event.pointerId, event);
    draw();
  });
  for (const name of ['pointerup', 'pointercancel', 'lostpointercapture']) canvas.addEventListener(name, (event) => fingers.delete(event.pointerId));
  canvas.addEventListener('contextmenu', (event) => event.preventDefault());
  canvas.addEventListener('wheel', (event) => {
    // The page keeps its wheel until the reader has taken hold of the view.
    if (document.activeElement !== canvas) return;
    event.preventDefault();
    zoom(Math.exp(event.deltaY * 0.001));
    draw();
  }, { passive: false });
  canvas.addEventListener('keydown', (event) => {
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!head || event.ctrlKey || event.metaKey || event.altKey) return;
    if (by && event.shiftKey) pan(by[0] * state.half * 0.1, by[1] * state.half * 0.1);
    else if (by) turn(by[0] * 10, by[1] * 10);
    else if (event.key === '+' || event.key === '=') zoom(0.85);
    else if (event.key === '-') zoom(1 / 0.85);
    else if (event.key === '0') whole();
    else if (event.key === ',') step(-1);
    else if (event.key === '.') step(1);
    else if (event.key === ' ') play();
    else return;
    event.preventDefault();
    draw();
  });
  part('pose').addEventListener('change', (event) => { pause(); state.pose = Number(event.target.value); state.frame = 0; tell(); });
  part('frame').addEventListener('input', (event) => { pause(); state.frame = Number(event.target.value); tell(); });
  part('colour').addEventListener('change', (event) => { state.colour = event.target.value; tell(); });
  part('play').addEventListener('click', play);
  part('whole').addEventListener('click', () => { whole(); draw(); });
  for (const name of ['body', 'garment', 'glass']) part(name).addEventListener('change', (event) => { state[name] = event.target.checked; draw(); });
  document.addEventListener('visibilitychange', () => document.hidden && pause());

  document.querySelectorAll('button[data-view]').forEach((button) => {
    button.hidden = false;
    button.addEventListener('click', async () => {
      const wish = JSON.parse(button.dataset.view);
      if (home) home.hidden = false;
      button.after(room);
      button.hidden = true;
      home = button;
      room.hidden = false;
      await show(wish);
      if (!canvas.hidden) canvas.focus({ preventScroll: true });
      room.scrollIntoView({ block: 'nearest', behavior: still.matches ? 'auto' : 'smooth' });
    });
  });
  pause();
})();
