// Where does an independent renderer put the vertices of the test rigs, for given joint
// rotations and for the files' own clips? Writes skinning.json; see README.md.
//
//   node skinning.mjs [RIGS_FOLDER]      (default: $GUSSET_RIGS or ../../../shared/rigs)

import fs from 'node:fs';
import path from 'node:path';
import * as THREE from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';

const here = import.meta.dirname;
const rigs = process.argv[2] ?? process.env.GUSSET_RIGS ?? path.join(here, '../../../shared/rigs');
const VERTICES = 200;

// Limb nodes by glTF node index, so that unnamed joints can be addressed too.
// Order: thigh, shank, foot, upper arm, forearm; left then right; then the trunk.
const FILES = [
  { file: 'bodies/mhr_body_average.glb', seed: 101,
    left: [6, 7, 8, 11, 12], right: [14, 15, 16, 19, 20], trunk: [1, 2, 3, 4] },
  { file: 'bodies/rocketbox_male_adult_17.glb', seed: 202,
    left: [5, 6, 7, 19, 20], right: [2, 3, 4, 14, 15], trunk: [10, 11, 12, 23] },
  // Faces +X, not +Z: `facing` is the turn about Y from one to the other, in degrees.
  { file: 'thirdparty/cesium_man/cesium_man.gltf', seed: 303, facing: 90,
    left: [7, 8, 9, 16, 17], right: [3, 4, 5, 13, 14], trunk: [11, 12, 19],
    clips: [[0, [0, 0.317, 0.9, 1.4583333, 2.0]]] },
  { file: 'synthetic/body.glb', seed: 404, left: [1, 2, 3], right: [4, 5, 6], trunk: [0],
    clips: [[0, [0, 4.5, 13.25, 22, 31]]] },
  { file: 'synthetic/trousers.glb', seed: 505, left: [1, 2, 3], right: [4, 5, 6], trunk: [0],
    clips: [[0, [0, 4.5, 13.25, 22, 31]]] },
  { file: 'mocap/mhr_body_walk_cmu02_01.glb', seed: 606,
    clips: [[0, [0, 0.41, 1.0, 1.7166667, 2.8333333]]] },
  // Clips that move, turn and scale every joint; the first keys of this file's clips are not at 0.
  { file: 'thirdparty/mannequiny/mannequiny-0.3.0.glb', seed: 707,
    clips: [[2, [0, 0.61, 1.2333333]], [9, [0.25, 0.5]]] },
  { file: 'thirdparty/kaykit/Rogue.glb', seed: 808, mesh: 11,
    clips: [[52, [0.33, 0.8]], [56, [0.57, 1.0]]] },
];

/** Seeded uniform numbers in [0, 1) (mulberry32). */
function uniform(seed) {
  return () => {
    seed = (seed + 0x6d2b79f5) | 0;
    let t = Math.imul(seed ^ (seed >>> 15), 1 | seed);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** JSON and binary chunk of a .glb, or of a .gltf with embedded buffers. */
function readGltf(file) {
  const bytes = fs.readFileSync(file);
  if (bytes.toString('latin1', 0, 4) !== 'glTF') {
    const json = JSON.parse(bytes.toString('utf8'));
    const bin = Buffer.from(json.buffers[0].uri.split(',')[1], 'base64');
    delete json.buffers[0].uri;
    return { json, bin };
  }
  const length = bytes.readUInt32LE(12);
  const json = JSON.parse(bytes.toString('utf8', 20, 20 + length));
  const start = 20 + length;
  return { json, bin: bytes.subarray(start + 8, start + 8 + bytes.readUInt32LE(start)) };
}

/** The same file without textures (the loader needs a browser for them), as one .glb in memory. */
function withoutTextures({ json, bin }) {
  json = structuredClone(json);
  delete json.images; delete json.textures; delete json.samplers;
  json.materials = (json.materials ?? []).map((m) => ({ name: m.name }));
  const pad = (b, fill) => Buffer.concat([b, Buffer.alloc((4 - (b.length % 4)) % 4, fill)]);
  const text = pad(Buffer.from(JSON.stringify(json)), 0x20), data = pad(bin, 0);
  const head = Buffer.alloc(12), t = Buffer.alloc(8), d = Buffer.alloc(8);
  head.write('glTF', 'latin1'); head.writeUInt32LE(2, 4);
  head.writeUInt32LE(28 + text.length + data.length, 8);
  t.writeUInt32LE(text.length, 0); t.writeUInt32LE(0x4e4f534a, 4);
  d.writeUInt32LE(data.length, 0); d.writeUInt32LE(0x004e4942, 4);
  const all = Buffer.concat([head, t, text, d, data]);
  return all.buffer.slice(all.byteOffset, all.byteOffset + all.byteLength);
}

/** Largest distance from 1 of a sum of WEIGHTS_0 in the file, and the rows off by more than 1e-3. */
function weightRows({ json, bin }, primitive) {
  const a = json.accessors[primitive.attributes.WEIGHTS_0], v = json.bufferViews[a.bufferView];
  if (a.componentType !== 5126 || a.sparse) throw new Error('float weights expected');
  const stride = v.byteStride ?? 16, start = (v.byteOffset ?? 0) + (a.byteOffset ?? 0);
  let worst = 0, off = 0;
  for (let i = 0; i < a.count; i++) {
    let sum = 0;
    for (let k = 0; k < 4; k++) sum += bin.readFloatLE(start + i * stride + 4 * k);
    worst = Math.max(worst, Math.abs(sum - 1));
    if (Math.abs(sum - 1) > 1e-3) off++;
  }
  return { worst, off };
}

const round = (x, digits) => Number(x.toPrecision(digits));

class Rig {
  static async open(entry) {
    const rig = new Rig();
    const source = readGltf(path.join(rigs, entry.file));
    const gltf = await new GLTFLoader().parseAsync(withoutTextures(source), '');
    rig.json = source.json;
    rig.scene = gltf.scene;
    rig.clips = gltf.animations;
    rig.nodes = [];
    gltf.scene.traverse((o) => {
      const at = gltf.parser.associations.get(o);
      if (at?.nodes !== undefined) rig.nodes[at.nodes] ??= o;
      if (o.isSkinnedMesh && !rig.mesh && (entry.mesh ?? at.meshes) === at.meshes) {
        rig.mesh = o;
        rig.at = { mesh: at.meshes, primitive: at.primitives ?? 0 };
      }
    });
    rig.scene.updateMatrixWorld(true);
    rig.rest = rig.nodes.map((o) => o && {
      local: o.quaternion.clone(),
      parent: o.parent.getWorldQuaternion(new THREE.Quaternion()),
      all: [o.position.clone(), o.quaternion.clone(), o.scale.clone()],
    });
    const primitive = source.json.meshes[rig.at.mesh].primitives[rig.at.primitive];
    rig.weights = weightRows(source, primitive);
    const count = rig.mesh.geometry.attributes.position.count;
    if (count !== source.json.accessors[primitive.attributes.POSITION].count)
      throw new Error('vertex order of the renderer is not the accessor order');
    const random = uniform(entry.seed), chosen = new Set();
    while (chosen.size < Math.min(VERTICES, count)) chosen.add(Math.floor(random() * count));
    rig.vertices = [...chosen].sort((a, b) => a - b);
    return rig;
  }

  reset() {
    this.nodes.forEach((o, i) => {
      if (!o) return;
      const [p, q, s] = this.rest[i].all;
      o.position.copy(p); o.quaternion.copy(q); o.scale.copy(s);
    });
  }

  /** Local rotation that turns a node by `turn`, given about the world axes of the rest pose. */
  local(node, turn) {
    const { parent, local } = this.rest[node];
    return parent.clone().invert().multiply(turn).multiply(parent).multiply(local).normalize();
  }

  positions() {
    this.scene.updateMatrixWorld(true);
    const v = new THREE.Vector3();
    return this.vertices.flatMap((i) =>
      this.mesh.getVertexPosition(i, v).applyMatrix4(this.mesh.matrixWorld).toArray()
        .map((x) => round(x, 8)));
  }

  pose(name, turns) {
    this.reset();
    const rotations = turns.map(([node, turn]) => {
      const q = this.local(node, turn).toArray().map((x) => round(x, 9));
      this.nodes[node].quaternion.fromArray(q);
      return { node, name: this.json.nodes[node].name ?? null, rotation: q };
    });
    return { pose: name, rotations, positions: this.positions() };
  }

  clip(index, time) {
    this.reset();
    const mixer = new THREE.AnimationMixer(this.scene);
    const action = mixer.clipAction(this.clips[index]);
    action.setLoop(THREE.LoopOnce);
    action.clampWhenFinished = true;
    action.play();
    mixer.setTime(time);
    const positions = this.positions();
    action.stop();
    mixer.uncacheRoot(this.scene);
    return { clip: this.json.animations[index].name ?? null, clip_index: index, time, positions };
  }
}

const rad = Math.PI / 180;
const axis = { x: new THREE.Vector3(1, 0, 0), y: new THREE.Vector3(0, 1, 0), z: new THREE.Vector3(0, 0, 1) };
const turn = (...steps) => steps.reduce(
  (q, [a, degrees]) => q.multiply(new THREE.Quaternion().setFromAxisAngle(axis[a], degrees * rad)),
  new THREE.Quaternion());

/** Poses by turns about X (left), Y (up), Z (front) of the wearer; a positive turn about X swings a hanging limb back. */
function poses(entry) {
  const { left: l, right: r, trunk } = entry;
  const random = uniform(entry.seed + 7), span = (degrees) => (random() * 2 - 1) * degrees;
  const both = (i, left, right) => (l[i] === undefined ? [] : [[l[i], left], [r[i], right]]);
  const out = [
    ['sitting', [...both(0, turn(['x', -90]), turn(['x', -90])), ...both(1, turn(['x', 90]), turn(['x', 90]))]],
    ['wide stance', [
      ...both(0, turn(['z', 35], ['y', 20]), turn(['z', -35], ['y', -20])),
      ...both(3, turn(['z', -20]), turn(['z', 20]))]],
    ['squat', [
      ...both(0, turn(['z', 15], ['x', -100]), turn(['z', -15], ['x', -100])),
      ...both(1, turn(['x', 130]), turn(['x', 130])), ...both(2, turn(['x', -25]), turn(['x', -25])),
      [trunk[0], turn(['x', 20])]]],
  ];
  for (let k = 1; k <= 3; k++) {
    const any = (degrees) => turn(['x', span(degrees)], ['y', span(degrees)], ['z', span(degrees)]);
    out.push([`random ${k}`, [...l, ...r].map((n) => [n, any(50)]).concat(trunk.map((n) => [n, any(15)]))]);
  }
  const facing = turn(['y', entry.facing ?? 0]), back = facing.clone().invert();
  return out.map(([name, turns]) =>
    [name, turns.map(([node, t]) => [node, facing.clone().multiply(t).multiply(back)])]);
}

const files = [];
for (const entry of FILES) {
  const rig = await Rig.open(entry);
  const cases = [];
  if (entry.left) for (const [name, turns] of [['rest', []], ...poses(entry)]) cases.push(rig.pose(name, turns));
  for (const [index, times] of entry.clips ?? []) for (const t of times) cases.push(rig.clip(index, t));
  files.push({
    file: entry.file, ...rig.at,
    weight_rows_off: rig.weights.off, worst_weight_sum_error: round(rig.weights.worst, 3),
    vertices: rig.vertices, cases,
  });
  console.log(`${entry.file}: ${cases.length} cases, ${rig.vertices.length} vertices, ` +
    `${rig.weights.off} weight rows off`);
}

const head = {
  made_by: `tests/reference/skinning.mjs, three ${THREE.REVISION}`,
  note: 'World positions in metres, x y z per vertex, in the order of "vertices" (indices into the POSITION ' +
    'accessor of mesh/primitive). "rotation" (x y z w) replaces the local rotation of glTF node "node"; all other ' +
    'nodes keep the transform the file gives them. The renderer divides every weight row by its sum: a test does ' +
    'the same where weight_rows_off is not 0. It uses four influences and 32-bit floats.',
};
// One line a case keeps the file small and its diffs readable.
const line = (c) => '   ' + JSON.stringify(c);
const text = files.map(({ cases, ...f }) =>
  ` {${JSON.stringify(f).slice(1, -1)},"cases":[\n${cases.map(line).join(',\n')}\n ]}`).join(',\n');
fs.writeFileSync(path.join(here, 'skinning.json'),
  `{"made_by":${JSON.stringify(head.made_by)},\n"note":${JSON.stringify(head.note)},\n"files":[\n${text}\n]}\n`);
