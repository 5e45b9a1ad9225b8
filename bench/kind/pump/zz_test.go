package pump
import ("testing";"dutybench/signal/matter";"fmt";"math")
func TestZZ(t *testing.T){
 for _,reg:=range []string{"speed","voltage","power","unknown"}{
  for _,dt:=range []float64{-10,-5,5,10}{
   s:=&surroundings{laws:lawsOf(reg),unsure:shares,quiet:0.04}
   c,_:=matter.Water.Change(20,20+dt)
   fmt.Printf("%-8s %+3.0f K:",reg,dt)
   for _,x:=range []float64{.2,.3,.5,.7,1}{ fmt.Printf("  x%.1f %+.2f±%.2f%%",x,100*s.expected(c,x),100*together(s.spread(c,x)))}
   fmt.Println()
  }
  s:=&surroundings{laws:lawsOf(reg),unsure:shares,quiet:0.04}
  c,_:=matter.Water.Change(20,25)
  for _,q:=range s.spread(c,.5){ if math.Abs(q.by[0])>1e-4 {fmt.Printf("    %s %.2f%%\n",q.source,100*q.by[0])}}
 }
}
