use framevouch::colour::*;
use framevouch::picture::*;
fn main() {
    let (w, h) = (1024, 768);
    let pl = |a: usize, b: usize| {
        Plane::from_levels(
            w,
            h,
            (0..w * h)
                .map(|k| (a * (k % w) + b * (k / w) + k * k % 7) as u8)
                .collect(),
        )
    };
    let rgb = Picture::from_planes(
        [pl(3, 5), pl(11, 2), pl(29, 17)],
        Encoding::Rgb,
        Subsampling::None,
    );
    for (sub, n) in [
        (Subsampling::None, "444"),
        (Subsampling::Columns, "422"),
        (Subsampling::Both, "420"),
    ] {
        for siting in [Siting::Left, Siting::Center, Siting::TopLeft] {
            let mut out = rgb_to_ycbcr(&rgb, Matrix::Bt709, Range::Limited, sub, siting);
            let cpu = || {
                std::fs::read_to_string("/proc/self/schedstat")
                    .unwrap()
                    .split(' ')
                    .next()
                    .unwrap()
                    .parse::<f64>()
                    .unwrap()
                    / 1e6
            };
            let best = |f: &mut dyn FnMut()| {
                f();
                let t = cpu();
                for _ in 0..20 {
                    f();
                }
                (cpu() - t) / 20.0
            };
            let e = best(&mut || rgb_to_ycbcr_into(&rgb, siting, &mut out));
            let n0 = best(&mut || {
                std::hint::black_box(to_rgb(&out, Upsampling::Nearest, siting));
            });
            let b = best(&mut || {
                std::hint::black_box(to_rgb(&out, Upsampling::Bilinear, siting));
            });
            println!("{n} {siting:?}: encode {e:.2} ms, nearest {n0:.2} ms, bilinear {b:.2} ms");
        }
    }
}
