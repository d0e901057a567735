//! A page as people set their system and browser: enlarged, in colours of their own,
//! without motion.

use black_box::browser::{Size, Window};

/// What is wrong with the page that is shown under any of the settings; the window is
/// left as it was.
pub(crate) async fn faults(window: &Window) -> Vec<String> {
    let mut wrong = forced_colours(window).await;
    wrong.extend(motion(window).await);
    if window.size() == Size::Desk {
        wrong.extend(enlarged(window).await);
    }
    wrong
}

async fn told(window: &Window, script: &str) -> Vec<String> {
    let found = window.run(script).await;
    found.as_array().unwrap().iter().map(|fault| fault.as_str().unwrap().to_owned()).collect()
}

/// At 200 % nothing makes the page wider than its window, and no control lies outside
/// of it or has its words cut, but within what scrolls by itself.
async fn enlarged(window: &Window) -> Vec<String> {
    let (width, _) = window.enlarged().await;
    let script = format!(
        "const wrong = [], wide = {width};
        const over = document.documentElement.scrollWidth - wide;
        if (over > 0) wrong.push(`enlarged: ${{over}} wider than the window`);
        const name = one => one.outerHTML.slice(0, 120);
        for (const one of document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')) {{
            if (!one.checkVisibility() || one.matches('.skip') || one.closest('.scroll')) continue;
            const at = one.getBoundingClientRect();
            if (at.left < 0 || at.right > wide + 0.5) wrong.push(`enlarged: outside of the window: ${{name(one)}}`);
            if (at.width < 10 || at.height < 10) wrong.push(`enlarged: nearly gone: ${{name(one)}}`);
            if (one.matches('button, .button') && one.scrollWidth > one.clientWidth + 1) wrong.push(`enlarged: words cut: ${{name(one)}}`);
        }}
        return wrong"
    );
    let wrong = told(window, &script).await;
    window.as_it_was().await;
    wrong
}

/// Where the system sets the colours, what can be pressed or filled has a border, the
/// focus is seen, and pictures keep all of theirs.
async fn forced_colours(window: &Window) -> Vec<String> {
    window.prefers(&[("forced-colors", "active"), ("prefers-color-scheme", "dark")]).await;
    let wrong = told(
        window,
        "const wrong = [];
        if (!matchMedia('(forced-colors: active)').matches) return ['the setting does not hold'];
        const name = one => one.outerHTML.slice(0, 120);
        const seen = one => one.checkVisibility();
        const ground = getComputedStyle(document.body).backgroundColor;
        for (const one of document.querySelectorAll('button, .button, input:not([type=hidden]):not([type=checkbox]):not([type=radio]), select, textarea')) {
            const style = getComputedStyle(one);
            if (!seen(one)) continue;
            const edges = ['Top', 'Right', 'Bottom', 'Left'].every(side => style[`border${side}Style`] !== 'none'
                && parseFloat(style[`border${side}Width`]) >= 1 && style[`border${side}Color`] !== ground);
            if (!edges) wrong.push(`forced colours: no border: ${name(one)}`);
        }
        for (const one of document.querySelectorAll('svg, svg *')) {
            if (getComputedStyle(one).forcedColorAdjust !== 'none') { wrong.push(`forced colours: a picture half changed: ${name(one)}`); break; }
        }
        for (const svg of document.querySelectorAll('svg')) {
            const first = svg.querySelector('rect, path');
            if (!first || getComputedStyle(first).fill === 'none') wrong.push(`forced colours: a picture without its own ground: ${name(svg)}`);
        }
        const control = [...document.querySelectorAll('a[href], button, input:not([type=hidden])')].find(seen);
        control?.focus({focusVisible: true});
        const outline = control && getComputedStyle(control);
        if (control && (outline.outlineStyle === 'none' || parseFloat(outline.outlineWidth) < 2)) wrong.push(`forced colours: focus not seen: ${name(control)}`);
        control?.blur();
        return wrong",
    )
    .await;
    window.prefers(&[]).await;
    wrong
}

/// Who wants no motion gets none.
async fn motion(window: &Window) -> Vec<String> {
    window.prefers(&[("prefers-reduced-motion", "reduce")]).await;
    let wrong = told(
        window,
        "const wrong = [];
        if (!matchMedia('(prefers-reduced-motion: reduce)').matches) return ['the setting does not hold'];
        if (document.getAnimations().length) wrong.push(`motion: ${document.getAnimations().length} run`);
        const longest = text => Math.max(...text.split(',').map(one => parseFloat(one) * (one.includes('ms') ? 1 : 1000)));
        for (const one of document.querySelectorAll('*')) {
            const style = getComputedStyle(one);
            if (longest(style.transitionDuration) > 10 || longest(style.animationDuration) > 10 || style.scrollBehavior === 'smooth') wrong.push(`motion: ${one.outerHTML.slice(0, 120)}`);
        }
        return wrong",
    )
    .await;
    window.prefers(&[]).await;
    wrong
}
