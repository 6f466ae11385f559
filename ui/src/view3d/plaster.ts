/** The stuff that parts are drawn in: matte like plaster, with map, paint and cut in one shader. */

import {
  Color,
  DataTexture,
  DoubleSide,
  FrontSide,
  ShaderMaterial,
  Vector3,
  Vector4,
  type IUniform,
} from "three";

const VERTEX = /* glsl */ `
#ifdef MAPPED
attribute float value;
varying float vValue;
#endif
#ifdef PAINTED
attribute vec2 paint;
varying vec2 vPaint;
#endif
varying vec3 vSeen;
varying vec3 vNormal;
varying float vEven;
#ifdef PLACED
varying vec3 vWorld;
#endif
void main() {
  vec4 seen = modelViewMatrix * vec4(position, 1.0);
  vSeen = seen.xyz;
#ifdef PLACED
  vWorld = (modelMatrix * vec4(position, 1.0)).xyz;
#endif
  vNormal = normalize(normalMatrix * normal);
  vEven = length(normal);
#ifdef MAPPED
  vValue = value;
#endif
#ifdef PAINTED
  vPaint = paint;
#endif
  gl_Position = projectionMatrix * seen;
}`;

const FRAGMENT = /* glsl */ `
uniform vec3 colour;
uniform float opacity;
uniform vec3 sky;
uniform vec3 earth;
uniform vec3 upward;
#ifdef CUT
uniform vec4 cut;
#endif
#ifdef MAPPED
uniform sampler2D table;
uniform vec3 range; // low, high, step of the contour lines
uniform vec3 noValue;
varying float vValue;
#endif
#ifdef PAINTED
uniform vec3 copiedColour;
uniform vec3 leftColour;
varying vec2 vPaint;
#endif
#ifdef RINGED
uniform vec4 ring; // centre and radius of the brush
uniform vec3 ringWay;
uniform vec3 ringColour;
#endif
varying vec3 vSeen;
varying vec3 vNormal;
varying float vEven;
#ifdef PLACED
varying vec3 vWorld;
#endif

void main() {
#ifdef CUT
  if (dot(vWorld, cut.xyz) > cut.w) discard;
#endif
  vec3 flatly = normalize(cross(dFdx(vSeen), dFdy(vSeen)));
  vec3 smoothly = normalize(vNormal) * (gl_FrontFacing ? 1.0 : -1.0);
  // Short, or far from the face's own normal, the shared one spans a crease: the face's own holds.
  float shared = smoothstep(0.72, 0.86, dot(flatly, smoothly)) * smoothstep(0.76, 0.9, vEven);
  vec3 n = normalize(mix(flatly, smoothly, shared));
  vec3 toEye = normalize(-vSeen);
  float facing = abs(dot(n, toEye));

  vec3 base = colour;
  float lit = 1.0;
#ifdef MAPPED
  lit = 0.5;
  if (vValue < -1e29) {
    base = noValue;
  } else {
    float share = clamp((vValue - range.x) / (range.y - range.x), 0.0, 1.0);
    base = texture2D(table, vec2((share * 255.0 + 0.5) / 256.0, 0.5)).rgb;
    float steps = vValue / range.z;
    float width = fwidth(steps);
    float off = abs(fract(steps - 0.5) - 0.5) / max(width, 1e-6);
    float thin = 1.0 - smoothstep(0.5, 1.3, off);
    float sparse = 1.0 - smoothstep(0.12, 0.3, width);
    float inside = step(range.x, vValue) * step(vValue, range.y);
    base *= 1.0 - 0.34 * thin * sparse * inside;
  }
#endif
#ifdef PAINTED
  vec2 edge = max(fwidth(vPaint), vec2(1e-4));
  vec2 on = smoothstep(-0.5 * edge, 0.5 * edge, vPaint);
  vec2 rim = 1.0 - smoothstep(edge, 2.5 * edge, abs(vPaint));
  base = mix(base, leftColour, on.y * (0.62 + 0.3 * rim.y));
  base = mix(base, copiedColour, on.x * (0.62 + 0.3 * rim.x));
#endif
#ifdef RINGED
  float beyond = length(vWorld - ring.xyz) - ring.w;
  float pixel = max(fwidth(beyond), 1e-4);
  float same = step(0.0, dot(n, ringWay));
  float onRing = same * (1.0 - smoothstep(0.8, 1.8, abs(beyond) / pixel));
  base = mix(base, ringColour, max(onRing, same * 0.16 * step(beyond, 0.0)));
#endif
  vec3 key = normalize(vec3(-0.45, 0.62, 0.75));
  vec3 fill = normalize(vec3(0.8, 0.05, 0.5));
  vec3 light = mix(earth, sky, 0.5 + 0.5 * dot(n, upward));
  light += vec3(0.52, 0.505, 0.485) * max(dot(n, key), 0.0);
  light += vec3(0.10, 0.108, 0.12) * max(dot(n, fill), 0.0);
  light *= mix(0.72, 1.0, smoothstep(0.0, 0.5, facing));
  if (!gl_FrontFacing) light *= 0.72;
  vec3 shown = base * mix(vec3(0.93), light, lit);
#ifdef SHEEN
  float gloss = pow(max(dot(reflect(-key, n), toEye), 0.0), 28.0);
  shown += 0.16 * gloss + 0.10 * pow(1.0 - facing, 3.0);
#endif
#ifdef GHOST
  gl_FragColor = vec4(shown, mix(0.09, 0.6, pow(1.0 - facing, 2.2)));
#else
  gl_FragColor = vec4(shown, opacity);
#endif
  #include <colorspace_fragment>
}`;

/** Uniforms that all parts share, so that one change reaches them all. */
export interface Shared {
  [name: string]: IUniform;
  sky: IUniform<Color>;
  earth: IUniform<Color>;
  upward: IUniform<Vector3>;
  cut: IUniform<Vector4>;
  table: IUniform<DataTexture | null>;
  range: IUniform<Vector3>;
  noValue: IUniform<Color>;
  copiedColour: IUniform<Color>;
  leftColour: IUniform<Color>;
  ring: IUniform<Vector4>;
  /** Which way the surface under the brush looks, as the camera sees it. */
  ringWay: IUniform<Vector3>;
  ringColour: IUniform<Color>;
}

export function sharedUniforms(): Shared {
  return {
    sky: { value: new Color() },
    earth: { value: new Color() },
    upward: { value: new Vector3(0, 1, 0) },
    cut: { value: new Vector4(0, 0, 0, 1e9) },
    table: { value: null },
    range: { value: new Vector3(0, 1, 1) },
    noValue: { value: new Color() },
    copiedColour: { value: new Color() },
    leftColour: { value: new Color() },
    ring: { value: new Vector4(0, 0, 0, -1e6) },
    ringWay: { value: new Vector3(0, 0, 1) },
    ringColour: { value: new Color() },
  };
}

export interface Looks {
  ghost: boolean;
  cut: boolean;
  mapped: boolean;
  painted: boolean;
  ringed: boolean;
  bothSides: boolean;
  opacity: number;
  sheen: boolean;
}

export function plaster(shared: Shared, colour: Color, looks: Looks): ShaderMaterial {
  const defines: Record<string, string> = {};
  if (looks.ghost) defines.GHOST = "";
  if (looks.sheen) defines.SHEEN = "";
  if (looks.cut) defines.CUT = "";
  if (looks.mapped) defines.MAPPED = "";
  if (looks.painted) defines.PAINTED = "";
  if (looks.ringed) defines.RINGED = "";
  if (looks.cut || looks.ringed) defines.PLACED = ""; // only these ask where a point lies
  const seenThrough = looks.ghost || looks.opacity < 1;
  return new ShaderMaterial({
    vertexShader: VERTEX,
    fragmentShader: FRAGMENT,
    defines,
    uniforms: {
      ...shared,
      colour: { value: colour },
      opacity: { value: looks.opacity },
    },
    transparent: seenThrough,
    depthWrite: !looks.ghost,
    side: looks.bothSides && !looks.ghost ? DoubleSide : FrontSide,
  });
}
