//! Which edges lead back, and how far down each node stands.

use super::Link;

/// The ranks of all nodes.
#[derive(Debug)]
pub struct Ranks {
    /// By node: one more than the deepest node that leads to it.
    pub of: Vec<usize>,
    /// By node: when it was first met on the way from the entry.
    pub met: Vec<usize>,
}

/// Marks the links that lead back, and ranks the nodes by the others.
pub fn rank(count: usize, links: &mut [Link]) -> Ranks {
    let mut out: Vec<Vec<usize>> = vec![Vec::new(); count];
    for (index, link) in links.iter().enumerate() {
        out[link.from].push(index);
    }
    let mut walk = Walk { met: vec![usize::MAX; count], closed: vec![false; count], done: Vec::new(), next: 0 };
    for root in 0..count {
        if walk.met[root] == usize::MAX {
            walk.from(root, &out, links);
        }
    }
    let mut of = vec![0; count];
    // A node is done before those that lead to it.
    for node in walk.done.iter().rev() {
        for index in &out[*node] {
            let link = &links[*index];
            if !link.back {
                of[link.to] = of[link.to].max(of[*node] + 1);
            }
        }
    }
    Ranks { of, met: walk.met }
}

/// A walk in depth. It keeps its own stack, for a routine may have thousands of decisions in a row.
struct Walk {
    met: Vec<usize>,
    closed: Vec<bool>,
    done: Vec<usize>,
    next: usize,
}

impl Walk {
    fn from(&mut self, root: usize, out: &[Vec<usize>], links: &mut [Link]) {
        let mut stack = vec![(root, 0)];
        self.meet(root);
        while let Some((node, position)) = stack.last_mut() {
            let node = *node;
            let Some(index) = out[node].get(*position).copied() else {
                self.closed[node] = true;
                self.done.push(node);
                stack.pop();
                continue;
            };
            *position += 1;
            let to = links[index].to;
            if self.met[to] == usize::MAX {
                self.meet(to);
                stack.push((to, 0));
            } else {
                // A node that is met and not closed lies on the way from the root to here.
                links[index].back = !self.closed[to];
            }
        }
    }

    fn meet(&mut self, node: usize) {
        self.met[node] = self.next;
        self.next += 1;
    }
}
