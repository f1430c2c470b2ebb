"""The rasteriser's shaders: surfaces under a few dozen distant lights that cast shadows.

Energy leaves as linear radiance. The surface is a plain one of metals and dielectrics
(Burley 2012, "Physically-based shading at Disney"), its mirror image of the room taken from
a probe blurred by roughness with the fitted reflectance of Karis 2014, "Physically based
shading on mobile" (both from memory).
"""

from __future__ import annotations

TILES = 4  # shadow maps lie side by side in one picture, so many a side
LIGHTS = TILES * TILES - 1

_COMMON = """
#version 430
const float PI = 3.14159265358979;
vec2 around(vec3 d) {  // column 0 towards +y, going on towards +x; row 0 straight up
    return vec2(atan(d.x, d.y) / (2.0 * PI), acos(clamp(d.z, -1.0, 1.0)) / PI);
}
"""

VERTEX = """
#version 430
in vec3 place; in vec3 normal; in vec2 uv; in ivec2 which;
uniform mat4 camera;
out vec3 at; out vec3 facing; out vec2 texel;
flat out int part; flat out int material;
invariant gl_Position;  // the pass before, of depth alone, must meet the very same depths
void main() {
    at = place; facing = normal; texel = uv; part = which.x; material = which.y;
    gl_Position = camera * vec4(place, 1.0);
}
"""

_INPUTS = """
in vec3 at; in vec3 facing; in vec2 texel;
flat in int part; flat in int material;
uniform vec3 eye;
uniform sampler2D materials;   // per material: colour, roughness; metallic, specular, coat; glow
uniform sampler2D cloth;       // the texture of the material being drawn
uniform int textured;
uniform sampler2D probe;       // the room from the middle of the engine, blurrier by level
uniform float probe_levels;
vec3 colour_of(vec4 first) {
    return textured == 1 ? texture(cloth, texel).rgb : first.rgb;
}
vec3 normal_towards(vec3 view) {
    vec3 n = normalize(facing);
    return dot(n, view) < 0.0 ? -n : n;
}
"""

# What the probe sees: the room in the light of the surroundings and of the lamps, unshadowed.
ROOM = (
    _COMMON
    + _INPUTS
    + """
uniform vec3 sky[9];           // the surroundings' irradiance in spherical harmonics
uniform int lamps;
uniform vec3 lamp_at[16]; uniform vec3 lamp_along[16]; uniform vec3 lamp_power[16];
out vec4 light;
vec3 irradiance(vec3 n) {
    vec3 sum = sky[0] + sky[1] * n.y + sky[2] * n.z + sky[3] * n.x;
    sum += sky[4] * n.x * n.y + sky[5] * n.y * n.z + sky[6] * (3.0 * n.z * n.z - 1.0);
    return max(sum + sky[7] * n.x * n.z + sky[8] * (n.x * n.x - n.y * n.y), 0.0);
}
void main() {
    vec4 first = texelFetch(materials, ivec2(material, 0), 0);
    vec3 glow = texelFetch(materials, ivec2(material, 2), 0).rgb;
    vec3 n = normal_towards(normalize(eye - at));
    vec3 total = irradiance(n);
    for (int k = 0; k < lamps; k++) {
        vec3 to = lamp_at[k] - at;
        float far = dot(to, to);
        to *= inversesqrt(far);
        total += lamp_power[k] * max(dot(n, to), 0.0) * max(-dot(to, lamp_along[k]), 0.0) / far;
    }
    light = vec4(glow + colour_of(first) / PI * total, 1.0);
}
"""
)

SURFACE = (
    _COMMON
    + _INPUTS
    + f"""
const int TILES = {TILES};
const int LIGHTS = {LIGHTS};
uniform vec3 light_along[{LIGHTS}]; uniform vec3 light_colour[{LIGHTS}];
uniform mat4 light_camera[{LIGHTS}];
uniform sampler2DShadow shadows;
uniform int glass;
layout(location = 0) out vec4 light;
layout(location = 1) out ivec4 identity;
"""
    + """
float lit(int k, vec3 p) {
    vec3 q = (light_camera[k] * vec4(p, 1.0)).xyz * 0.5 + 0.5;
    if (any(lessThan(q, vec3(0.0))) || any(greaterThan(q, vec3(1.0)))) return 1.0;
    q.xy = (q.xy + vec2(k % TILES, k / TILES)) / float(TILES);
    return texture(shadows, q);
}
vec3 mirrored(vec3 view, vec3 n, float roughness) {
    vec2 where = around(reflect(-view, n));
    return textureLod(probe, where, roughness * (probe_levels - 1.0)).rgb;
}
vec3 reflectance(vec3 f0, float roughness, float cosine) {
    vec4 r = roughness * vec4(-1.0, -0.0275, -0.572, 0.022) + vec4(1.0, 0.0425, 1.04, -0.04);
    float a = min(r.x * r.x, exp2(-9.28 * cosine)) * r.x + r.y;
    vec2 ab = vec2(-1.04, 1.04) * a + r.zw;
    return f0 * ab.x + ab.y;
}
void main() {
    vec4 first = texelFetch(materials, ivec2(material, 0), 0);
    vec4 second = texelFetch(materials, ivec2(material, 1), 0);
    vec3 glow = texelFetch(materials, ivec2(material, 2), 0).rgb;
    vec3 view = normalize(eye - at);
    vec3 n = normal_towards(view);
    float cosine = max(dot(n, view), 0.0);
    identity = ivec4(part, 0, 0, 0);
    if (glass == 1) {
        float f = 0.04 + 0.96 * pow(1.0 - cosine, 5.0);
        light = vec4(mirrored(view, n, 0.0) * 2.0 * f, 1.0 - 2.0 * f);
        return;
    }
    vec3 colour = colour_of(first);
    float roughness = first.a, metallic = second.x;
    vec3 total = vec3(0.0);
    float reaching = 0.0, possible = 1e-9;
    for (int k = 0; k < LIGHTS; k++) {
        float slope = dot(n, light_along[k]);
        if (slope <= 0.0) continue;
        // Off the surface by a texel or two, more where the light grazes it.
        float open = lit(k, at + n * (0.0006 + 0.002 * (1.0 - slope)));
        vec3 sent = light_colour[k] * slope;
        total += open * sent;
        reaching += open * (sent.r + sent.g + sent.b);
        possible += sent.r + sent.g + sent.b;
    }
    // What the engine's own parts hand on to each other: a tenth of what they keep away.
    float open = reaching / possible;
    total += 0.1 * colour * (possible - reaching) / 3.0;
    vec3 diffuse = colour * (1.0 - metallic) / PI * total;
    vec3 f0 = mix(vec3(0.08 * second.y), colour, metallic);
    vec3 shine = reflectance(f0, roughness, cosine) * mirrored(view, n, roughness);
    float coat = 0.25 * second.z * (0.04 + 0.96 * pow(1.0 - cosine, 5.0));
    shine += coat * mirrored(view, n, 0.15);
    light = vec4(glow + diffuse + shine * mix(0.25, 1.0, open), 1.0);
}
"""
)

SKY_VERTEX = """
#version 430
in vec2 corner; uniform mat3 rays; out vec3 ray;
void main() { ray = rays * vec3(corner, 1.0); gl_Position = vec4(corner, 1.0, 1.0); }
"""

SKY = (
    _COMMON
    + """
in vec3 ray; uniform sampler2D surroundings;
layout(location = 0) out vec4 light;
layout(location = 1) out ivec4 identity;
void main() {
    light = vec4(textureLod(surroundings, around(normalize(ray)), 0.0).rgb, 1.0);
    identity = ivec4(-1, 0, 0, 0);
}
"""
)

DEPTH_VERTEX = """
#version 430
in vec3 place; uniform mat4 camera;
invariant gl_Position;
void main() { gl_Position = camera * vec4(place, 1.0); }
"""

DEPTH = """
#version 430
void main() {}
"""
